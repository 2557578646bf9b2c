package spectrum

import (
	"math"
)

// Window is a taper, periodic in the length it is made for, with a largest value of 1 at the middle.
// The zero value is the rectangular window.
type Window struct {
	cosine []float64 // a₀, a₁, … of Σ (−1)^k·a_k·cos(2πkn/N); empty: rectangular, or Tukey's
	taper  float64   // Tukey's tapered part, 0: none
}

// Cosine returns the window Σ (−1)^k·a_k·cos(2πkn/N) of the coefficients a₀, a₁, …, scaled to a peak of 1.
func Cosine(a ...float64) Window {
	sum := 0.0
	for _, v := range a {
		sum += v
	}
	scaled := make([]float64, len(a))
	for k, v := range a {
		scaled[k] = v / sum
	}
	return Window{cosine: scaled}
}

// Tukey returns the rectangular window whose ends are raised cosines that together take the given part of its
// length, above 0 and at most 1. It loses little (ENBW 1.10 at 0.25), but its near side lobes are high: for lines in noise
// that are taken out one by one.
func Tukey(taper float64) Window { return Window{taper: taper} }

// Hann returns the raised cosine: side lobes −31 dB, falling by 18 dB an octave.
func Hann() Window { return Cosine(.5, .5) }

// BlackmanHarris4 returns the four-term window of −92 dB side lobes.
func BlackmanHarris4() Window { return Cosine(.35875, .48829, .14128, .01168) }

// Samples returns the n samples of the window. It panics if n < 1.
func (w Window) Samples(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = w.At(float64(i) / float64(n))
	}
	return out
}

// At returns the window at the fraction u, 0 to 1, of its length.
func (w Window) At(u float64) float64 {
	if w.taper != 0 {
		if edge := min(u, 1-u); edge < w.taper/2 {
			return (1 - math.Cos(2*math.Pi*edge/w.taper)) / 2
		}
		return 1
	}
	if len(w.cosine) == 0 {
		return 1
	}
	sum, sign := 0.0, 1.0
	for k, a := range w.cosine {
		sum += sign * a * math.Cos(2*math.Pi*float64(k)*u)
		sign = -sign
	}
	return sum
}

// Mean returns the mean of the window: what it leaves of a line's amplitude.
func (w Window) Mean() float64 {
	if len(w.cosine) == 0 {
		return 1 - w.taper/2
	}
	return w.cosine[0]
}

// MeanSquare returns the mean of the squared window: what it leaves of the power of noise.
func (w Window) MeanSquare() float64 {
	if len(w.cosine) == 0 {
		return 1 - w.taper*5/8
	}
	sum := w.cosine[0] * w.cosine[0]
	for _, a := range w.cosine[1:] {
		sum += a * a / 2
	}
	return sum
}

// ENBW returns the equivalent noise bandwidth in bins, mean(w²)/mean(w)².
func (w Window) ENBW() float64 { return w.MeanSquare() / (w.Mean() * w.Mean()) }

// Lobe returns the half-width of the main lobe in bins: a line leaks nothing but side lobes further away.
func (w Window) Lobe() float64 {
	if len(w.cosine) == 0 {
		return 1 / (1 - w.taper/2)
	}
	return float64(len(w.cosine))
}

// Response returns the transform of the window x bins from a line, relative to the transform on the line, in
// the limit of many samples. It is real, even in x, and may be negative among the side lobes.
func (w Window) Response(x float64) float64 {
	if len(w.cosine) == 0 {
		return tukeyLobe(x, w.taper)
	}
	// cos(2πku) of alternating sign becomes, centred on the middle of the window, +cos: shifted sincs.
	sum := w.cosine[0] * Sinc(x)
	for k, a := range w.cosine {
		if k > 0 {
			sum += a / 2 * (Sinc(x-float64(k)) + Sinc(x+float64(k)))
		}
	}
	return sum / w.cosine[0]
}

// tukeyLobe returns sinc((1 − t/2)·x)·cos(πtx/2)/(1 − t²x²): a rectangle convolved with the lobe of a cosine.
func tukeyLobe(x, t float64) float64 {
	const rounding = 1e-9 // below it the quotient has no digits
	d := 1 - t*t*x*x
	if math.Abs(d) < rounding {
		return Sinc((1-t/2)*x) * math.Pi / 4 // the limit of cos(πu/2)/(1 − u²) at u = 1
	}
	return Sinc((1-t/2)*x) * math.Cos(math.Pi*t*x/2) / d
}

// Sinc returns sin(πx)/(πx).
func Sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}
