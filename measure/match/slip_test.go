package match_test

import (
	"math"
	"testing"

	"heardiff/measure/match"
)

// lost takes frames out of B at a second, or plays as many again where they are negative.
type lost struct {
	second float64
	frames int
}

// Every loss is named with its place and size, whatever others there are, and what is compared is free of any.
func TestEveryJumpIsNamed(t *testing.T) {
	const rate, seconds = 24000, 15
	m := newMusic(71, seconds, 9500)
	a := m.capture(rate, rate*seconds, way{noise: 1e-5, seed: 1})
	plain := m.capture(rate, rate*seconds, way{offset: 7.3, drift: 8e-6, gain: 0.9, noise: 1e-5, seed: 2})
	for _, losses := range [][]lost{
		{{4.1, 1}},
		{{4.1, -1}},
		{{4.1, 64}, {9.3, 96}},
		{{3.1, 64}, {7.3, -64}, {11.1, 200}},
		{{5.1, 1}, {10.3, 1}},
		{{2.5, 1}, {7.3, 64}},
		{{4.3, 2 * rate}},
	} {
		b := plain.Clone()
		for i := len(losses) - 1; i >= 0; i-- {
			at := int(losses[i].second * rate)
			b = splice(at, at+losses[i].frames)(music{}, b)
		}
		r, err := match.Compare(a, b)
		if err != nil {
			t.Errorf("%v: %v", losses, err)
			continue
		}
		t.Logf("%v: null %.1f dB, drift %.5f ± %.5f ppm, %q", losses, r.NullDB, r.DriftPPM, r.StandardErrors.DriftPPM, r.Texts)
		if r.NullDB > -60 || math.Abs(r.DriftPPM-8) > 1e-3 {
			t.Errorf("%v: null %.1f dB, drift %.4f ppm", losses, r.NullDB, r.DriftPPM)
		}
		if len(r.Jumps) != len(losses) || !r.Warned(match.Jumps) {
			t.Errorf("%v: %+v, %q", losses, r.Jumps, r.Texts)
			continue
		}
		for i, l := range losses {
			// Places are known to a block, a sixth of a second here.
			if j := r.Jumps[i]; math.Round(j.Samples) != float64(-l.frames) || math.Abs(j.AtS-l.second) > 0.2 {
				t.Errorf("%v: %+v", losses, j)
			}
		}
	}
}

// A clock that swings by more than a frame bends: it does not jump.
func TestAClockThatSwingsDoesNotJump(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	for _, hz := range []float64{0.1, 0.2, 0.3} {
		swing := func(t float64) float64 { return 5e-5 * math.Sin(2*math.Pi*hz*t) } // 1.2 frames
		r, err := match.Compare(a, late(swing)(m, a))
		if err != nil {
			t.Errorf("%v Hz: %v", hz, err)
			continue
		}
		if !r.Wander.Significant || r.Warned(match.Jumps) {
			t.Errorf("%v Hz: wander %.2f samples, %q", hz, r.Wander.RMSSamples, r.Texts)
		}
	}
}
