package jittertest_test

import (
	"math"
	"math/cmplx"
	"testing"

	"heardiff/measure/jitter/jittertest"
)

// level returns the amplitude at hz by the definition of the transform over whole periods.
func level(x []float64, rate, hz float64) float64 {
	var sum complex128
	for i, v := range x {
		sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*hz*float64(i)/rate))
	}
	return 2 * cmplx.Abs(sum) / float64(len(x))
}

// ref: J₁(b)/J₀(b), b = 2πf·J, for a sinusoidal time error of peak J; the levels at 12 kHz for 10 and 100 ns.
// ref: C. Dunn, M. O. Hawksford, "Is the AES/EBU/SPDIF digital audio interface flawed?", AES 93rd Convention, 1992:
// 10 ns at 1 kHz on a tone of 10001 Hz give sidebands of about −71 dB (they hold the error over a sample, which lowers
// theirs by 0.7 dB).
func TestSidebandsFollowBessel(t *testing.T) {
	for _, c := range []struct{ carrier, peak, wantDBc, tol float64 }{
		{12000, 10e-9, -68.4734, 1e-4},
		{12000, 100e-9, -48.4733, 1e-4},
		{11000, 1e-6, math.NaN(), 0},
		{10001, 10e-9, -71, 1},
	} {
		const rate = 48000
		x := jittertest.Capture{Rate: rate, Seconds: 1, CarrierHz: c.carrier, Amplitude: 0.7,
			Jitter: []jittertest.Sine{{Hz: 1000, Peak: c.peak}}}.Samples()
		b := 2 * math.Pi * c.carrier * c.peak
		bessel := 20 * math.Log10(math.J1(b)/math.J0(b))
		for _, side := range []float64{-1000, 1000} {
			got := 20 * math.Log10(level(x, rate, c.carrier+side)/level(x, rate, c.carrier))
			if math.Abs(got-bessel) > 1e-5 { // rounding at −48 … −90 dB
				t.Errorf("%v ns at %v Hz: %.6f dBc, Bessel %.6f", c.peak*1e9, c.carrier, got, bessel)
			}
			if math.Abs(got-c.wantDBc) > c.tol {
				t.Errorf("%v ns at %v Hz: %.4f dBc, published %.4f", c.peak*1e9, c.carrier, got, c.wantDBc)
			}
		}
	}
}

// ref: SNR = −20·log10(2πfσ) of random jitter σ; 12 kHz, 1 ns: 82.4528 dB.
func TestRandomJitterMakesThePublishedNoise(t *testing.T) {
	c := jittertest.Capture{Rate: 48000, Seconds: 10, CarrierHz: 12000, Amplitude: 1, Seed: 3}
	clean := c.Samples()
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 1000, 10, 10000
	sum := 0.0
	for i, v := range c.Samples() {
		sum += (v - clean[i]) * (v - clean[i])
	}
	got := -10 * math.Log10(sum/float64(len(clean))*2)
	// The variance of 10 kHz over 10 s has 2·10⁵ degrees of freedom: 0.014 dB.
	if math.Abs(got-82.4528) > 0.06 {
		t.Errorf("SNR %.4f dB, want 82.4528", got)
	}
}
