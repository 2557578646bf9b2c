package impair_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure"
	"heardiff/measure/impair"
	"heardiff/playback/pcm"
)

// fallingNoise is two channels of noise whose spectrum falls like that of music, by one-pole filters at 50 Hz, 500 Hz and 5 kHz.
func fallingNoise(rate pcm.Rate, seconds float64) pcm.Clip {
	c := pcm.NewClip(rate, 2, int(rate.Hz()*seconds))
	random := rand.New(rand.NewPCG(1, 2))
	for _, ch := range c.Channels {
		var state [3]float64
		for i := range ch {
			w := random.NormFloat64()
			for k, hz := range []float64{50, 500, 5000} {
				a := math.Exp(-2 * math.Pi * hz / rate.Hz())
				state[k] = a*state[k] + (1-a)*w
				ch[i] += 0.3 * state[k] / math.Sqrt(hz/50)
			}
		}
	}
	return c
}

// No rung of a ladder, except those of gain, is recognized by its loudness, however large the dose; a copy that needs no gain is not
// touched.
func TestRungsAreEquallyLoud(t *testing.T) {
	clean := fallingNoise(48000, 2)
	was, err := measure.Loudness(clean)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		ladder  impair.Ladder
		largest float64 // gain of the plainest rung is not below this
	}{
		{impair.Ladder{Quantity: impair.RandomJitter, From: 1e4, To: 1e8, Steps: 3}, impair.LoudnessStepLU},
		{impair.Ladder{Quantity: impair.RandomJitter, From: 1e4, To: 1e8, Steps: 3, LowHz: 10, HighHz: 200}, impair.LoudnessStepLU},
		{impair.Ladder{Quantity: impair.PeriodicJitter, FreqHz: 1000, From: 1e4, To: 1e8, Steps: 3}, impair.LoudnessStepLU},
		{impair.Ladder{Quantity: impair.NoiseLevel, From: -90, To: -40, Steps: 3}, impair.LoudnessStepLU},
		{impair.Ladder{Quantity: impair.Gain, From: 0.1, To: 1, Steps: 2}, 0},
	} {
		steps, err := c.ladder.Doses(48000)
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range steps {
			r, err := impair.Render(t.Context(), clean, s.Dose)
			if err != nil {
				t.Fatal(err)
			}
			is, err := measure.Loudness(r.Clip)
			if err != nil {
				t.Fatal(err)
			}
			louder, want := is.IntegratedLUFS-was.IntegratedLUFS, 0.0
			if c.ladder.Quantity == impair.Gain {
				want = s.Value
			}
			// The fades of 10 ms at either end are not equalized: a thousandth of the excerpt.
			if math.Abs(louder-want) > impair.LoudnessStepLU+0.002 || math.Abs(r.LoudnessLU-louder) > 0.002 {
				t.Errorf("%s of %g: %+.4f LU, said %+.4f", c.ladder.Words(48000), s.Value, louder, r.LoudnessLU)
			}
			if i == 0 && r.EqualizedDB != 0 || i == len(steps)-1 && math.Abs(r.EqualizedDB) < c.largest {
				t.Errorf("%s of %g: equalized by %v dB", c.ladder.Words(48000), s.Value, r.EqualizedDB)
			}
		}
	}
}
