package spectrum_test

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"heardiff/measure/spectrum"
)

func TestTransformsAreTheirDefinition(t *testing.T) {
	const n = 64
	random := rand.New(rand.NewPCG(1, 2))
	x, z := make([]float64, n), make([]complex128, n)
	for i := range x {
		x[i] = random.NormFloat64()
		z[i] = complex(random.NormFloat64(), random.NormFloat64())
	}
	re, im := spectrum.NewPlan(n), spectrum.NewComplexPlan(n)
	real, complexX := re.Forward(nil, x), im.Forward(nil, z)
	const tol = 1e-12 // n·ε·|x| and some
	for k := range n {
		var a, b complex128
		for i := range n {
			turn := cmplx.Exp(complex(0, -2*math.Pi*float64(k*i)/n))
			a += complex(x[i], 0) * turn
			b += z[i] * turn
		}
		if k <= n/2 && cmplx.Abs(a-real[k]) > tol {
			t.Errorf("real bin %d: %v, want %v", k, real[k], a)
		}
		if cmplx.Abs(b-complexX[k]) > tol {
			t.Errorf("complex bin %d: %v, want %v", k, complexX[k], b)
		}
	}
	for i, v := range re.Inverse(nil, real) {
		if math.Abs(v-x[i]) > tol {
			t.Errorf("sample %d came back as %v, was %v", i, v, x[i])
		}
	}
	for i, v := range im.Inverse(nil, complexX) {
		if cmplx.Abs(v-z[i]) > tol {
			t.Errorf("complex sample %d came back as %v, was %v", i, v, z[i])
		}
	}
}

func TestShortInputIsPaddedEveryTime(t *testing.T) {
	p := spectrum.NewPlan(8)
	p.Forward(nil, []float64{5, 5, 5, 5, 5, 5, 5})
	got := p.Forward(nil, []float64{1, 2})
	if got[0] != 3 || got[4] != -1 {
		t.Errorf("sum %v and alternating sum %v, want 3 and −1: old samples left in the padding", got[0], got[4])
	}
}

func TestScalesOfLineAndNoise(t *testing.T) {
	const rate, size = 48000.0, 4096
	random := rand.New(rand.NewPCG(3, 4))
	const sigma, amplitude, freq = 1e-3, 0.25, 997.0
	x := make([]float64, 60*size)
	for i := range x {
		x[i] = sigma*random.NormFloat64() + amplitude*math.Sin(2*math.Pi*freq*float64(i)/rate)
	}
	s, err := spectrum.Of(x, spectrum.Config{RateHz: rate, Size: size, Window: spectrum.BlackmanHarris4(), Overlap: 0.75})
	if err != nil {
		t.Fatal(err)
	}
	line := s.Lines(100, 20000, 40, 0.001)
	if len(line) != 1 {
		t.Fatalf("%d lines, want the one at 997 Hz", len(line))
	}
	// The estimate of the amplitude scatters by σ·√(2·ENBW/n), 1.2e-5; the noise adds its own power to the bin.
	if math.Abs(line[0].Amplitude-amplitude) > 6e-5 || math.Abs(line[0].FreqHz-freq) > 0.02 {
		t.Errorf("line of %.6f at %.4f Hz, want %.6f at %.4f", line[0].Amplitude, line[0].FreqHz, amplitude, freq)
	}
	// White noise spreads σ² evenly over rate/2. 10 kHz of it hold n·10/24 independent pairs: 0.5 % relative.
	want := sigma * sigma * 10000 / (rate / 2)
	if got := s.BandPower(5000, 15000); math.Abs(got/want-1) > 0.015 {
		t.Errorf("power in 10 kHz %.4g, want %.4g", got, want)
	}
	if got := s.Noise(200)[s.Bin(10000)]; math.Abs(got/(sigma*sigma/(rate/2))-1) > 0.03 {
		t.Errorf("median noise density %.4g, want %.4g", got, sigma*sigma/(rate/2))
	}
}

func TestBandPowerOfAllIsTheMeanSquare(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	x := make([]float64, 1024)
	mean := 0.0
	for i := range x {
		x[i] = random.NormFloat64()
		mean += x[i] * x[i] / 1024
	}
	s, err := spectrum.Of(x, spectrum.Config{RateHz: 8000, Size: 1024})
	if err != nil {
		t.Fatal(err)
	}
	if got := s.BandPower(0, 4000); math.Abs(got/mean-1) > 1e-12 { // Parseval
		t.Errorf("band power %v, mean square %v", got, mean)
	}
}

func TestPeakBetweenBins(t *testing.T) {
	const rate, size = 44100.0, 8192
	for _, w := range []spectrum.Window{spectrum.Hann(), spectrum.BlackmanHarris4()} {
		for _, off := range []float64{-0.49, -0.2, 0, 0.31, 0.5} {
			x := make([]float64, size)
			freq := (2000 + off) * rate / size
			for i := range x {
				x[i] = 0.5 * math.Cos(2*math.Pi*freq*float64(i)/rate+0.7)
			}
			s, err := spectrum.Of(x, spectrum.Config{RateHz: rate, Size: size, Window: w})
			if err != nil {
				t.Fatal(err)
			}
			got := s.Peak(s.Bin(freq))
			if math.Abs(got.FreqHz-freq) > 1e-5*rate/size || math.Abs(got.Amplitude-0.5) > 1e-6 {
				t.Errorf("offset %.2f: %.7f at %.6f Hz, want 0.5 at %.6f", off, got.Amplitude, got.FreqHz, freq)
			}
		}
	}
}

func TestFalseAlarmsAreAsStated(t *testing.T) {
	const trials, wanted = 200, 0.5
	random := rand.New(rand.NewPCG(7, 8))
	alarms := 0
	for range trials {
		x := make([]float64, 8192)
		for i := range x {
			x[i] = random.NormFloat64()
		}
		s, err := spectrum.Of(x, spectrum.Config{RateHz: 48000, Size: 8192, Window: spectrum.Hann()})
		if err != nil {
			t.Fatal(err)
		}
		alarms += len(s.Lines(20, 20000, 400, wanted))
	}
	// Neighbouring bins of a tapered block are not independent and share an alarm, so somewhat fewer come;
	// counts are Poisson: 100 ± 10.
	if alarms < 40 || alarms > 130 {
		t.Errorf("%d false lines in %d spectra, %v each were stated", alarms, trials, wanted)
	}
}

func TestAveragerRefusesWhatItCannotDo(t *testing.T) {
	for _, c := range []spectrum.Config{{RateHz: 0, Size: 8}, {RateHz: 1, Size: 12}, {RateHz: 1, Size: 8, Overlap: 1}, {RateHz: math.NaN(), Size: 8}} {
		if _, err := spectrum.NewAverager(c); err == nil {
			t.Errorf("%+v was accepted", c)
		}
	}
	if _, err := spectrum.Of(make([]float64, 7), spectrum.Config{RateHz: 1, Size: 8}); !errors.Is(err, spectrum.ErrShort) {
		t.Errorf("seven samples for blocks of eight: %v", err)
	}
}

func BenchmarkAverage(b *testing.B) {
	x := make([]float64, 1<<20)
	random := rand.New(rand.NewPCG(9, 10))
	for i := range x {
		x[i] = random.NormFloat64()
	}
	a, err := spectrum.NewAverager(spectrum.Config{RateHz: 48000, Size: 1 << 15, Window: spectrum.BlackmanHarris4(), Overlap: 0.66})
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(x) * 8))
	b.ReportAllocs()
	for b.Loop() {
		a.Write(x)
	}
}
