package jittertest_test

import (
	"math"
	"math/cmplx"
	"testing"

	"heardiff/measure/jitter/jittertest"
	"heardiff/measure/spectrum"
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

// powerOf returns the mean square of what lies between two frequencies, of a slice as long as a power of two.
func powerOf(x []float64, rate, low, high float64) float64 {
	bins := spectrum.NewPlan(len(x)).Forward(nil, x)
	sum, n := 0.0, float64(len(x))
	for k, v := range bins {
		if hz := float64(k) * rate / n; hz >= low && hz <= high {
			sum += 2 * (real(v)*real(v) + imag(v)*imag(v)) / (n * n)
		}
	}
	return sum
}

// ref: F. M. Gardner, "Phaselock Techniques": the noise bandwidth of a second-order loop is ωₙ/2·(ζ + 1/(4ζ)) in Hz, ωₙ = 2πfₙ. What it
// leaves of an oscillator, |1 − H|²/f², integrates to π/(4ζ·fₙ) (by residues). From memory; the integrals are the check.
func TestLoopsHaveGardnersBandwidth(t *testing.T) {
	for _, l := range []jittertest.Loop{{Hz: 30, Damping: 0.15}, {Hz: 300, Damping: 0.5}, {Hz: 1000, Damping: 1}} {
		passed := jittertest.Shape{LowHz: 1e-3, HighHz: 1e7, Density: l.Passed}.Variance(0, 1e8)
		if want := math.Pi * l.Hz * (l.Damping + 1/(4*l.Damping)); math.Abs(passed/want-1) > 1e-3 { // beyond 10 MHz 4ζ²fₙ²/f is left
			t.Errorf("%+v: %.4f Hz, want %.4f", l, passed, want)
		}
		left := jittertest.Shape{LowHz: 1e-3, HighHz: 1e7, Density: func(hz float64) float64 { return l.Own(hz) / (hz * hz) }}.Variance(0, 1e8)
		if want := math.Pi / (4 * l.Damping * l.Hz); math.Abs(left/want-1) > 1e-3 {
			t.Errorf("%+v: leaves %.6f, want %.6f", l, left, want)
		}
	}
}

// Jitter of a density has, in every band, the power that the density integrates to: for 1/f² that is h·(1/a − 1/b), for 1/f³ half
// of h·(1/a² − 1/b²). Here it is taken from the samples themselves, by the phase of a carrier that they are mixed with.
func TestShapedJitterHasItsDensity(t *testing.T) {
	const rate, size = 48000, 1 << 19
	c := jittertest.Capture{Rate: rate, Seconds: float64(size) / rate, CarrierHz: 12000, Amplitude: 1, Seed: 4,
		Shaped: []jittertest.Shape{{LowHz: 1, HighHz: 9000, Density: func(hz float64) float64 { return 1e-18/(hz*hz) + 1e-16/(hz*hz*hz) }}}}
	x := c.Samples()
	phase := make([]float64, len(x))
	for i, v := range x { // at a quarter of the rate: sin, cos, −sin, −cos of 2πf₀τ
		if i%2 == 0 {
			phase[i] = v * float64(1-i%4)
		} else { // between two: what is wrong by that lies above the bands below
			phase[i] = phase[i-1]
		}
	}
	for _, b := range [][2]float64{{10, 30}, {30, 100}, {100, 300}} {
		got := powerOf(phase, rate, b[0], b[1]) / math.Pow(2*math.Pi*12000, 2)
		want := 1e-18*(1/b[0]-1/b[1]) + 1e-16/2*(1/(b[0]*b[0])-1/(b[1]*b[1]))
		if variance := c.Shaped[0].Variance(b[0], b[1]); math.Abs(variance/want-1) > 1e-9 {
			t.Errorf("%v Hz: %.6g s², want %.6g", b, variance, want)
		}
		// The lowest bins hold most: some 40 independent ones at the least.
		if math.Abs(got/want-1) > 0.35 || math.Abs(got/want-1) > 4/math.Sqrt((b[1]-b[0])*c.Seconds/3) {
			t.Errorf("%v Hz: %.4g s² in the samples, want %.4g", b, got, want)
		}
	}
}

// ref: P. M. Woodward, "The spectrum of random frequency modulation", 1952: a line whose frequency strays slowly has the spectrum of
// its frequency's distribution: all its power, and as its standard deviation the RMS by which it strays.
func TestWanderingLinesSpreadAsTheirFrequency(t *testing.T) {
	const rate, size = 8192, 1 << 19
	c := jittertest.Capture{Rate: rate, Seconds: size / rate, CarrierHz: 2000, Seed: 7,
		Wandering: []jittertest.Wander{{Hz: 100, RMSHz: 10, SlowHz: 0.1, FastHz: 2, Added: []jittertest.Sine{{Hz: 3, Peak: 1}}}}}
	x := c.Samples()
	bins := spectrum.NewPlan(size).Forward(nil, x)
	var all, first, second float64
	for k, v := range bins {
		p, hz := (real(v)*real(v)+imag(v)*imag(v))*2/size/size, float64(k)*rate/size
		all, first, second = all+p, first+p*hz, second+p*hz*hz
	}
	middle := first / all
	spread := math.Sqrt(second/all - middle*middle)
	// Twelve seconds of each swing of 0.1 to 2 Hz: some 120 independent values of the frequency.
	if math.Abs(all-0.5) > 1e-3 || math.Abs(middle-2300) > 8 || math.Abs(spread-30) > 6 {
		t.Errorf("power %.4f at %.1f ± %.2f Hz, want 0.5 at 2300 ± 30", all, middle, spread)
	}
}

// The recorder's harmonics and offset are as they are asked for, and words are whole steps, with the noise of rounding and triangular dither:
// a quarter of the square of a step in all (1/12 + 2/12).
func TestTheRecorderAddsWhatItIsAskedFor(t *testing.T) {
	const rate = 48000
	c := jittertest.Capture{Rate: rate, Seconds: 1, CarrierHz: 5000, Amplitude: 0.5, DC: 0.01, Harmonics: []float64{1e-3, 1e-4, 1e-2, 1e-2}}
	x := c.Samples()
	for hz, want := range map[float64]float64{10000: 0.5e-3, 15000: 0.5e-4, 20000: 0.5e-2, 23000: 0} { // the fifth, 25 kHz, would fold to 23
		if got := level(x, rate, hz); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v Hz: %g, want %g", hz, got, want)
		}
	}
	if got := level(x, rate, 0) / 2; math.Abs(got-0.01) > 1e-9 {
		t.Errorf("offset %g, want 0.01", got)
	}
	c.Bits = 16
	sum := 0.0
	for i, v := range c.Samples() {
		steps := v * 32768
		if steps != math.Round(steps) {
			t.Fatalf("sample %d is %v steps", i, steps)
		}
		sum += (v - x[i]) * (v - x[i]) * 32768 * 32768 / rate
	}
	if math.Abs(sum/0.25-1) > 0.03 {
		t.Errorf("rounding and dither make %.4f of a step squared, want 0.25", sum)
	}
}
