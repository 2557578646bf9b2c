package spectrum

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// ErrShort is wrapped by errors about a signal that does not fill one block.
var ErrShort = errors.New("signal too short")

// Config says how a spectrum is averaged.
type Config struct {
	RateHz float64
	// Size is the block length in samples, a power of two: bins are RateHz/Size apart.
	Size int
	// Window tapers each block.
	Window Window
	// Overlap of successive blocks as a fraction, 0 to below 1. Common choices: 0.5 for Hann, 0.66 for
	// BlackmanHarris4, 0.8 and more for flat tops.
	Overlap float64
}

// Validate returns an error that names the field that is out of range.
func (c Config) Validate() error {
	switch {
	case !(c.RateHz > 0) || math.IsInf(c.RateHz, 0):
		return fmt.Errorf("spectrum: a rate of %v Hz: want a positive number", c.RateHz)
	case c.Size < 2 || c.Size&(c.Size-1) != 0:
		return fmt.Errorf("spectrum: Size %d, want a power of two", c.Size)
	case !(c.Overlap >= 0 && c.Overlap < 1):
		return fmt.Errorf("spectrum: Overlap %v, want 0 to below 1", c.Overlap)
	}
	return nil
}

// Averager averages the power spectra of overlapping blocks of a signal that is written piece by piece.
type Averager struct {
	cfg    Config
	window []float64
	plan   *Plan
	hop    int

	block    []float64 // samples not yet transformed, filled to held
	held     int
	tapered  []float64
	bins     []complex128
	sum      []float64 // Σ|X|²
	blocks   int
	sumPower float64 // Σw²
}

// NewAverager returns an averager for the given blocks.
func NewAverager(cfg Config) (*Averager, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	a := &Averager{
		cfg:     cfg,
		window:  cfg.Window.Samples(cfg.Size),
		plan:    NewPlan(cfg.Size),
		hop:     max(1, int(math.Round(float64(cfg.Size)*(1-cfg.Overlap)))),
		block:   make([]float64, cfg.Size),
		tapered: make([]float64, cfg.Size),
		bins:    make([]complex128, cfg.Size/2+1),
		sum:     make([]float64, cfg.Size/2+1),
	}
	a.sumPower = floats.Dot(a.window, a.window)
	return a, nil
}

// Write adds samples, of any number; each full block is transformed at once. The samples are not kept.
func (a *Averager) Write(samples []float64) {
	for len(samples) > 0 {
		n := copy(a.block[a.held:], samples)
		samples = samples[n:]
		a.held += n
		if a.held == len(a.block) {
			a.transform()
			a.held = copy(a.block, a.block[a.hop:])
		}
	}
}

func (a *Averager) transform() {
	a.plan.Forward(a.bins, floats.MulTo(a.tapered, a.window, a.block))
	for k, x := range a.bins {
		a.sum[k] += real(x)*real(x) + imag(x)*imag(x)
	}
	a.blocks++
}

// Spectrum returns the average so far. The error wraps ErrShort where no block is full yet.
func (a *Averager) Spectrum() (Spectrum, error) {
	if a.blocks == 0 {
		return Spectrum{}, fmt.Errorf("spectrum: %w: %d samples, a block takes %d", ErrShort, a.held, a.cfg.Size)
	}
	return a.Mean(), nil
}

// Mean is Spectrum of a signal that is known to have filled a block. It panics where none is full.
func (a *Averager) Mean() Spectrum {
	if a.blocks == 0 {
		panic("spectrum: no block is full")
	}
	s := Spectrum{
		RateHz: a.cfg.RateHz, Size: a.cfg.Size, Window: a.cfg.Window,
		Density: make([]float64, len(a.sum)), Freedom: a.freedom(),
	}
	floats.ScaleTo(s.Density, 2/(s.RateHz*a.sumPower*float64(a.blocks)), a.sum)
	s.Density[0] /= 2 // DC and half the rate have no mirror image to add
	s.Density[len(s.Density)-1] /= 2
	return s
}

// freedom returns the equivalent degrees of freedom of a bin of white noise, 2·K for K independent blocks and
// less where they overlap.
//
// ref: Welch 1967: var = (1/K)·(1 + 2·Σ (1 − j/K)·ρ_j²), ρ_j = Σ w[n]·w[n + j·hop] / Σ w².
func (a *Averager) freedom() float64 {
	spread := 1.0
	for j := 1; j < a.blocks && j*a.hop < len(a.window); j++ {
		rho := floats.Dot(a.window[j*a.hop:], a.window[:len(a.window)-j*a.hop]) / a.sumPower
		spread += 2 * (1 - float64(j)/float64(a.blocks)) * rho * rho
	}
	return 2 * float64(a.blocks) / spread
}

// Of returns the averaged spectrum of a signal in memory.
func Of(samples []float64, cfg Config) (Spectrum, error) {
	a, err := NewAverager(cfg)
	if err != nil {
		return Spectrum{}, err
	}
	a.Write(samples)
	return a.Spectrum()
}

// Once returns the spectrum of a single block, all of the samples. It panics unless their number is a power of two, 2 or more, and the rate is
// positive.
func Once(samples []float64, rateHz float64, window Window) Spectrum {
	s, err := Of(samples, Config{RateHz: rateHz, Size: len(samples), Window: window})
	if err != nil {
		panic(err.Error())
	}
	return s
}

// Spectrum is an averaged power spectrum.
type Spectrum struct {
	RateHz float64
	Size   int
	Window Window
	// Freedom is the equivalent degrees of freedom of one bin of noise: its relative standard error is √(2/Freedom).
	Freedom float64
	// Density is one-sided, in full scale squared per Hz; bin k is at k·RateHz/Size, k = 0 to Size/2.
	Density []float64
}

// BinHz returns the distance between neighbouring bins in Hz.
func (s Spectrum) BinHz() float64 { return s.RateHz / float64(s.Size) }

// FreqHz returns the frequency of bin k.
func (s Spectrum) FreqHz(k int) float64 { return float64(k) * s.BinHz() }

// Bin returns the bin nearest to a frequency, inside the spectrum.
func (s Spectrum) Bin(hz float64) int {
	return int(min(max(0, math.Round(hz/s.BinHz())), float64(len(s.Density)-1)))
}

// LineAmplitude returns the amplitude (peak, in units of full scale) of a sine exactly at bin k.
// Between bins the window's scallop is lost; Peak mends that.
func (s Spectrum) LineAmplitude(k int) float64 {
	power := s.Density[k] * s.BinHz() * s.Window.ENBW() // mean square of the sine
	if k == 0 || k == len(s.Density)-1 {
		return math.Sqrt(power)
	}
	return math.Sqrt(2 * power)
}

// BandPower returns the mean square of what lies between two frequencies. A bin that the edge cuts counts by
// the part inside; the band is clipped to 0 … RateHz/2.
func (s Spectrum) BandPower(lowHz, highHz float64) float64 {
	d := s.BinHz()
	lowHz, highHz = max(lowHz, 0), min(highHz, s.RateHz/2)
	sum := 0.0
	for k := s.Bin(lowHz); k <= s.Bin(highHz); k++ {
		from, to := max((float64(k)-.5)*d, lowHz), min((float64(k)+.5)*d, highHz)
		width := max(0, to-from)
		if k == 0 || k == len(s.Density)-1 {
			width *= 2 // half a bin wide, and not doubled by a mirror image
		}
		sum += s.Density[k] * width
	}
	return sum
}
