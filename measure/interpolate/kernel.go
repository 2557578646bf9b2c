// Package interpolate evaluates sampled audio between its samples.
//
// The interpolator is a Kaiser-windowed sinc whose coefficients are in a table of finely spaced phases and
// are interpolated linearly between them. Frequencies are fractions of the Nyquist frequency, positions and
// shifts are frames, and may be any real number. Before the first and after the last frame there is silence.
//
// Two designs matter:
//   - the transparent one (the zero Config) is exact to −140 dB up to 0.9 of Nyquist, and whole shifts return
//     the samples themselves, bit for bit. Above 0.9 its response depends on the fraction of the shift;
//   - one that has stopped at Nyquist (Stop 1) has the same response for every shift, at every frequency:
//     whatever it does to one capture it does to any other, however they are shifted.
package interpolate

import (
	"fmt"
	"heardiff/measure/spectrum"
	"math"

	"gonum.org/v1/gonum/floats"
)

// phases is the number of table rows to one frame. Linear interpolation between rows errs by at most
// (π/phases)²/8 of a component at Nyquist: −154.7 dB.
const phases = 8192

// Config says what a Kernel must do. The zero value is the transparent design.
type Config struct {
	// Pass is the end of the passband as a fraction of Nyquist, inside (0, 1). 0 means 0.9.
	Pass float64
	// Stop is where the response has fallen to the error, as a fraction of Nyquist, inside (Pass, 2 − Pass].
	// 0 means 2 − Pass, where the first image of the passband begins.
	Stop float64
	// ErrorDB is the largest error in the passband and the largest image of it, in dB, between −160 and −40.
	// 0 means −140.
	ErrorDB float64
}

func (c Config) filled() Config {
	if c.Pass == 0 {
		c.Pass = 0.9
	}
	if c.Stop == 0 {
		c.Stop = 2 - c.Pass
	}
	if c.ErrorDB == 0 {
		c.ErrorDB = -140
	}
	return c
}

// Validate returns an error that names the field that is out of its range.
func (c Config) Validate() error {
	f := c.filled()
	switch {
	case !(f.Pass > 0 && f.Pass < 1):
		return fmt.Errorf("interpolate: Pass %v: want a fraction of Nyquist between 0 and 1", c.Pass)
	case !(f.Stop > f.Pass && f.Stop <= 2-f.Pass):
		return fmt.Errorf("interpolate: Stop %v: want more than Pass %v and at most %v", c.Stop, f.Pass, 2-f.Pass)
	case !(f.ErrorDB >= -160 && f.ErrorDB <= -40):
		return fmt.Errorf("interpolate: an error of %v dB: want −160 to −40", c.ErrorDB)
	}
	return nil
}

// Kernel is an interpolator of one design. It does not change after New and may be shared.
type Kernel struct {
	half  int // taps on either side
	exact bool
	rows  [][]float64 // rows[p][j] weighs sample j − half + 1 for the fraction p/phases
}

// New designs a kernel. It returns the error of cfg.Validate.
//
// Length and shape are Kaiser's: for a transition of Δω rad and an attenuation of A dB,
//
//	taps = (A − 7.95)/(2.285·Δω), β = 0.1102·(A − 8.7)
//
// with 10 dB more attenuation than asked for, because images add up.
// ref: J. F. Kaiser's design formulas as given in any textbook of digital filters.
func New(cfg Config) (*Kernel, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	cfg = cfg.filled()
	attenuation := 10 - cfg.ErrorDB
	taps := (attenuation - 7.95) / (2.285 * math.Pi * (cfg.Stop - cfg.Pass))
	cutoff := (cfg.Pass + cfg.Stop) / 2
	k := &Kernel{half: int(math.Ceil(taps/2)) + 1, exact: cutoff == 1}
	k.fill(cutoff, 0.1102*(attenuation-8.7))
	return k, nil
}

func (k *Kernel) fill(cutoff, beta float64) {
	n := 2 * k.half
	all := make([]float64, (phases+1)*n)
	k.rows = make([][]float64, phases+1)
	for p := range k.rows {
		k.rows[p] = all[p*n : (p+1)*n : (p+1)*n]
	}
	scale := 1 / bessel0(beta)
	for p := range phases/2 + 1 {
		for j := range n {
			t := float64(j-k.half+1) - float64(p)/phases
			u := t / float64(k.half)
			v := cutoff * spectrum.Sinc(cutoff*t) * scale * bessel0(beta*math.Sqrt(math.Max(0, 1-u*u)))
			k.rows[p][j] = v
			k.rows[phases-p][n-1-j] = v // the kernel is even in t
		}
	}
}

// bessel0 returns the modified Bessel function I₀(x) by its power series, which converges for every x.
func bessel0(x float64) float64 {
	q := x * x / 4
	sum, term := 1.0, 1.0
	for i := 1.0; term > sum*1e-17; i++ {
		term *= q / (i * i)
		sum += term
	}
	return sum
}

// Half returns how many frames the kernel reaches to either side of a position.
func (k *Kernel) Half() int { return k.half }

// Shift fills dst[c][i] with channel c of src at the position first + i + shift[i], in frames of src.
// Channels and lengths of dst and shift must agree. It panics where src does not reach half frames (see Half)
// to either side of a position; Stream supplies the silence around a recording.
func (k *Kernel) Shift(dst, src [][]float64, first int, shift []float64) {
	for i, s := range shift {
		whole, f := split(s)
		at := first + i + whole
		if f == 0 && k.exact {
			for c := range dst {
				dst[c][i] = src[c][at]
			}
			continue
		}
		p := f * phases
		row := int(p)
		w := p - float64(row)
		for c := range dst {
			x := src[c][at-k.half+1 : at+k.half+1]
			dst[c][i] = floats.Dot(k.rows[row], x)
			if w != 0 { // between two rows
				dst[c][i] = (1-w)*dst[c][i] + w*floats.Dot(k.rows[row+1], x)
			}
		}
	}
}

// split returns the whole frames below s and the fraction, 0 ≤ fraction < 1.
func split(s float64) (whole int, fraction float64) {
	floor := math.Floor(s)
	fraction = s - floor
	if fraction >= 1 { // s is a hair below a whole number and the difference was rounded
		return int(floor) + 1, 0
	}
	return int(floor), fraction
}
