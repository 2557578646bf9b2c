package spectrum_test

import (
	"math"
	"math/cmplx"
	"testing"

	"heardiff/measure/spectrum"
)

// ref: Heinzel, Rüdiger, Schilling 2002, tables of windows; mean/peak and scallop recomputed from the same
// coefficients by a plain DFT in double precision, outside this package.
func TestWindowsMatchPublishedFigures(t *testing.T) {
	for _, c := range []struct {
		name                  string
		window                spectrum.Window
		enbw, mean, scallopDB float64
	}{
		{"rectangular", spectrum.Window{}, 1, 1, -3.9224},
		{"Hann", spectrum.Hann(), 1.5, .5, -1.4236},
		{"Hamming", spectrum.Cosine(.54, .46), 1.3628, .54, -1.7514},
		{"Blackman", spectrum.Cosine(.42, .5, .08), 1.7268, .42, -1.0989},
		{"Blackman-Harris", spectrum.BlackmanHarris4(), 2.0044, .35875, -0.8256},
		{"Nuttall4b", spectrum.Cosine(.355768, .487396, .144232, .012604), 2.0212, .35577, -0.8118},
		// Closed forms (1 − 5t/8)/(1 − t/2)², 1 − t/2, and the transform at half a bin summed over 2²⁰ samples (awk).
		{"Tukey 0.25", spectrum.Tukey(.25), 1.1020, .875, -2.9628},
	} {
		const tol = 6e-5 // the published figures have four or five places
		if got := c.window.ENBW(); math.Abs(got-c.enbw) > tol {
			t.Errorf("%s: ENBW %.5f, want %.4f", c.name, got, c.enbw)
		}
		if got := c.window.Mean(); math.Abs(got-c.mean) > tol {
			t.Errorf("%s: mean %.5f, want %.5f", c.name, got, c.mean)
		}
		if got := 20 * math.Log10(c.window.Response(0.5)); math.Abs(got-c.scallopDB) > tol {
			t.Errorf("%s: scallop %.5f dB, want %.4f", c.name, got, c.scallopDB)
		}
	}
}

func TestResponseIsTheTransformOfTheSamples(t *testing.T) {
	const n = 4096
	for _, w := range []spectrum.Window{{}, spectrum.Hann(), spectrum.BlackmanHarris4(), spectrum.Tukey(.25)} {
		samples := w.Samples(n)
		for _, x := range []float64{0, 0.3, 0.5, 1.7, 2.5, 4, 6.5} {
			var sum complex128
			for i, v := range samples {
				sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*x*float64(i)/n))
			}
			got := math.Abs(w.Response(x))
			want := cmplx.Abs(sum) / (n * w.Mean())
			if math.Abs(got-want) > 1e-6 { // the response is the limit of many samples
				t.Errorf("response at %.1f bins: %.8f, transform of the samples %.8f", x, got, want)
			}
		}
	}
}

// ref: values of I₀ from scipy.special.i0 (scipy 1.10.1).
func TestBesselI0(t *testing.T) {
	for _, c := range []struct{ x, want float64 }{
		{0, 1}, {1, 1.2660658777520082}, {2 * math.Pi, 87.1085106533908}, {8.6, 750.4611595631661}, {14, 129418.56270064859},
	} {
		if got := spectrum.BesselI0(c.x); math.Abs(got/c.want-1) > 1e-13 {
			t.Errorf("I0(%v) = %.16g, want %.16g", c.x, got, c.want)
		}
	}
}
