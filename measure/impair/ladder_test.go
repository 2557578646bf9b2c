package impair_test

import (
	"fmt"
	"math"
	"testing"

	"heardiff/measure/impair"
)

func TestLadderGoesInEqualRatios(t *testing.T) {
	for name, c := range map[string]struct {
		ladder impair.Ladder
		want   []float64
	}{
		"jitter by ratio":    {impair.Ladder{Quantity: impair.RandomJitter, From: 1000, To: 1e6, Steps: 4}, []float64{1e3, 1e4, 1e5, 1e6}},
		"downwards":          {impair.Ladder{Quantity: impair.PeriodicJitter, FreqHz: 3000, From: 400, To: 100, Steps: 3}, []float64{400, 200, 100}},
		"noise by decibels":  {impair.Ladder{Quantity: impair.NoiseLevel, From: -90, To: -60, Steps: 4}, []float64{-90, -80, -70, -60}},
		"gain may be loss":   {impair.Ladder{Quantity: impair.Gain, From: -0.1, To: -0.5, Steps: 3}, []float64{-0.1, -0.3, -0.5}},
		"two steps are ends": {impair.Ladder{Quantity: impair.Gain, From: 0.1, To: 0.3, Steps: 2}, []float64{0.1, 0.3}},
	} {
		steps, err := c.ladder.Doses(48000)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for i, want := range c.want {
			if got := steps[i].Value; math.Abs(got/want-1) > 1e-12 {
				t.Errorf("%s, step %d: %v, want %v", name, i, got, want)
			}
		}
		if seeds := steps[0].Dose.Seed == steps[1].Dose.Seed; seeds {
			t.Errorf("%s: two steps share their random numbers", name)
		}
	}
}

func TestLadderRefusesWhatIsNoDose(t *testing.T) {
	for name, l := range map[string]impair.Ladder{
		"no quantity":      {From: 1, To: 2, Steps: 2},
		"one step":         {Quantity: impair.Gain, From: 1, To: 2, Steps: 1},
		"equal ends":       {Quantity: impair.Gain, From: 1, To: 1, Steps: 3},
		"jitter of nought": {Quantity: impair.RandomJitter, From: 0, To: 100, Steps: 3},
		"gain through 0":   {Quantity: impair.Gain, From: -1, To: 1, Steps: 3},
		"no frequency":     {Quantity: impair.PeriodicJitter, From: 1, To: 10, Steps: 3},
		"noise above full": {Quantity: impair.NoiseLevel, From: -10, To: 10, Steps: 3},
		"not a number":     {Quantity: impair.NoiseLevel, From: math.NaN(), To: -10, Steps: 3},
	} {
		if steps, err := l.Doses(48000); err == nil {
			t.Errorf("%s was accepted: %v", name, steps)
		}
	}
}

func ExampleLadder() {
	l := impair.Ladder{Quantity: impair.RandomJitter, From: 1000, To: 1e6, Steps: 4}
	steps, _ := l.Doses(48000)
	for _, s := range steps {
		fmt.Printf("%.0f %s of %s\n", s.Value, l.Quantity.Unit(), l.Words(48000))
	}
	// Output:
	// 1000 ps RMS of random jitter, 10 to 20000 Hz
	// 10000 ps RMS of random jitter, 10 to 20000 Hz
	// 100000 ps RMS of random jitter, 10 to 20000 Hz
	// 1000000 ps RMS of random jitter, 10 to 20000 Hz
}
