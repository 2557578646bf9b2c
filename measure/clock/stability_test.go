package clock_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/clock"
)

// phases returns the time errors that follow from frequencies one second apart.
func phases(frequency []float64) []float64 {
	x := make([]float64, len(frequency)+1)
	for i, y := range frequency {
		x[i+1] = x[i] + y
	}
	return x
}

// handbookSet returns the 1000 frequencies of the handbook's larger set: a multiplicative generator modulo 2³¹ − 1.
func handbookSet() []float64 {
	y := make([]float64, 1000)
	n := uint64(1234567890)
	for i := range y {
		y[i] = float64(n) / 2147483647
		n = 16807 * n % 2147483647
	}
	return y
}

// ref: NIST SP 1065 (2008), tables 29 to 31: a set of nine frequencies and one of 1000, with their deviations. The figures come from
// memory; that seven digits agree shows that they are right.
func TestDeviationsOfTheHandbookSets(t *testing.T) {
	nine := phases([]float64{892, 809, 823, 798, 671, 644, 883, 903, 677})
	thousand := phases(handbookSet())
	for _, c := range []struct {
		name        string
		x           []float64
		n           int
		allan, tdev float64
	}{
		{"nine frequencies", nine, 1, 91.22945, 52.67135},
		{"nine frequencies", nine, 2, 85.95287, 86.35831},
		{"1000 frequencies", thousand, 1, 2.922319e-01, 1.687202e-01},
		{"1000 frequencies", thousand, 10, 9.159953e-02, 3.563623e-01},
		{"1000 frequencies", thousand, 100, 3.241343e-02, 1.253382e+00},
	} {
		if got := clock.AllanDeviation(c.x, 1, c.n); math.Abs(got/c.allan-1) > 1e-6 { // seven digits are printed
			t.Errorf("%s, %d s: Allan deviation %.7g, published %.7g", c.name, c.n, got, c.allan)
		}
		if got := clock.TimeDeviation(c.x, c.n); math.Abs(got/c.tdev-1) > 1e-6 {
			t.Errorf("%s, %d s: time deviation %.7g, published %.7g", c.name, c.n, got, c.tdev)
		}
	}
}

// Closed forms: x = ½Dt² has second differences of Dτ² exactly, so an Allan deviation of Dτ/√2 and a TDEV of Dτ²/√6; the windows of
// MTIE differ, the last holds the most.
func TestDeviationsOfADrift(t *testing.T) {
	const drift, interval, count = 3e-9, 0.05, 400
	x := make([]float64, count)
	for i := range x {
		s := float64(i) * interval
		x[i] = drift * s * s / 2
	}
	for _, n := range []int{1, 7, 50} {
		tau := float64(n) * interval
		if got, want := clock.AllanDeviation(x, interval, n), drift*tau/math.Sqrt2; math.Abs(got/want-1) > 1e-6 {
			t.Errorf("Allan deviation at %v s: %v, want %v", tau, got, want)
		}
		if got, want := clock.TimeDeviation(x, n), drift*tau*tau/math.Sqrt(6); math.Abs(got/want-1) > 1e-6 {
			t.Errorf("TDEV at %v s: %v, want %v", tau, got, want)
		}
		if got, want := clock.MaximumTimeInterval(x, n), x[count-1]-x[count-1-n]; got != want {
			t.Errorf("MTIE at %v s: %v, want %v", tau, got, want)
		}
	}
}

// A constant offset of frequency f makes an MTIE of f·τ and nothing else.
func TestAnOffsetMakesTimeIntervalErrorAlone(t *testing.T) {
	x := make([]float64, 200)
	for i := range x {
		x[i] = 2e-6 * float64(i)
	}
	if got := clock.MaximumTimeInterval(x, 40); math.Abs(got-80e-6) > 1e-18 {
		t.Errorf("MTIE %v, want 80 µs", got)
	}
	if a, d := clock.AllanDeviation(x, 1, 20), clock.TimeDeviation(x, 20); a > 1e-18 || d > 1e-17 {
		t.Errorf("Allan deviation %v, TDEV %v of a constant frequency", a, d)
	}
}

// The sliding window gives the same as a search of every window.
func TestTimeIntervalIsThatOfEveryWindow(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 8))
	x := make([]float64, 300)
	for i := range x {
		x[i] = random.NormFloat64()
		if i > 0 {
			x[i] += x[i-1]
		}
	}
	for _, n := range []int{1, 2, 13, 299} {
		want := 0.0
		for from := 0; from+n < len(x); from++ {
			low, high := math.Inf(1), math.Inf(-1)
			for _, v := range x[from : from+n+1] {
				low, high = min(low, v), max(high, v)
			}
			want = max(want, high-low)
		}
		if got := clock.MaximumTimeInterval(x, n); got != want {
			t.Errorf("MTIE over %d intervals: %v, every window says %v", n, got, want)
		}
	}
}

func TestDeviationsOfTooFewErrorsAreNotMeasurable(t *testing.T) {
	x := []float64{1, 2, 3, 5}
	for n, got := range map[string]float64{
		"Allan deviation": clock.AllanDeviation(x, 1, 2),
		"TDEV":            clock.TimeDeviation(x, 2),
		"MTIE":            clock.MaximumTimeInterval(x, 4),
		"MTIE of none":    clock.MaximumTimeInterval(nil, 0),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v, want NaN", n, got)
		}
	}
}
