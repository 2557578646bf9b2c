package signal

import (
	"math"

	"heardiff/playback/pcm"
)

// Limits of the sweep at full level, in Hz.
const (
	SweepLowHz  = 20.0
	SweepHighHz = 20_000.0
)

// SweepShape is the time course of an exponential sweep x(t) = sin(2π·20·L·(e^(t/L) − 1)): its frequency
// 20 Hz·e^(t/L) grows e-fold in L seconds. L is an integer number of periods of 20 Hz, so that all harmonics are
// in phase with it, and so that a receiver can derive L exactly from a rough reading.
//
// ref: A. Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine technique",
// AES 108th Convention, 2000; A. Novak, P. Lotton, L. Simon, "Synchronized swept-sine: theory, application, and
// implementation", J. Audio Eng. Soc. 63(10), 2015.
type SweepShape struct {
	Rate pcm.Rate
	// GrowthS is L, in seconds.
	GrowthS float64
	// HighHz is the highest frequency at full level, SweepTop of the rate.
	HighHz float64
	// BeginS is when the sweep passes 20 Hz, in seconds from the first frame; EndS when it passes HighHz.
	BeginS, EndS float64
}

// SweepTop returns the highest frequency at full level, in Hz: 20 kHz, or 0.46 of the rate if that is less.
func SweepTop(rate pcm.Rate) float64 { return math.Min(SweepHighHz, 0.46*rate.Hz()) }

// The run-in begins a quarter of an octave below 20 Hz and the run-out ends 7 % above HighHz; both are faded, so
// that within the limits the level is full. There is silence before and after, for the chain's delay and decay.
const (
	runIn, runOut        = 1.19, 1.07
	sweepHead, sweepTail = 0.25, 0.75
)

// NewSweepShape returns the longest sweep that fits into frames frames.
func NewSweepShape(rate pcm.Rate, frames int) SweepShape {
	s := SweepShape{Rate: rate, HighHz: SweepTop(rate)}
	octaves := math.Log(s.HighHz / SweepLowHz * runIn * runOut)
	periods := math.Floor(SweepLowHz * (rate.Seconds(frames) - sweepHead - sweepTail) / octaves)
	s.GrowthS = periods / SweepLowHz
	s.BeginS = sweepHead + s.GrowthS*math.Log(runIn)
	s.EndS = s.BeginS + s.GrowthS*math.Log(s.HighHz/SweepLowHz)
	return s
}

// At returns the sweep's value, peak 1, at second t from the first frame.
func (s SweepShape) At(t float64) float64 { return s.Harmonic(1, t) }

// Harmonic returns the sweep's n-th harmonic as a smooth curve makes it, at second t: n times the frequency, and where the sweep
// is faded the n-th power of its level. It is scaled to a peak of 1.
func (s SweepShape) Harmonic(n int, t float64) float64 {
	u := (t - s.BeginS) / s.GrowthS
	ratio := math.Exp(u) // frequency over 20 Hz
	top := s.HighHz / SweepLowHz
	gain := 1.0
	switch {
	case ratio <= 1/runIn || ratio >= top*runOut:
		return 0
	case ratio < 1:
		gain = raised(1 + u/math.Log(runIn))
	case ratio > top:
		gain = raised(1 - math.Log(ratio/top)/math.Log(runOut))
	}
	// Full cycles drop out of 20·L·(e^u − 1) before the sine is taken: at 20 kHz its argument is large.
	cycles := SweepLowHz * s.GrowthS * math.Expm1(u)
	return math.Pow(gain, float64(n)) * math.Sin(2*math.Pi*float64(n)*(cycles-math.Floor(cycles)))
}

// raised returns a raised cosine from 0 at x = 0 to 1 at x = 1.
func raised(x float64) float64 { return (1 - math.Cos(math.Pi*x)) / 2 }

func (s SweepShape) samples(peak float64) func(dst []float64, channel, from int) {
	return func(dst []float64, _, from int) {
		for i := range dst {
			dst[i] = peak * s.At(float64(from+i)/s.Rate.Hz())
		}
	}
}
