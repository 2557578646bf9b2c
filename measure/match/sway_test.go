package match_test

import (
	"math"
	"testing"

	"heardiff/measure/match"
)

// A clock that sways too fast for the track of blocks is named, with the size of the sway; the channels' offsets do not follow it. A
// sway that leaves a null below −50 dB is not warned of.
func TestAFastSwayIsSaidWithItsSize(t *testing.T) {
	const rate, seconds = 24000, 9
	m := newMusic(12, seconds, 11000)
	a := m.capture(rate, rate*seconds, way{noise: 1e-5, seed: 4})
	for _, c := range []struct{ hz, peak float64 }{{2, 0.3}, {3, 0.2}, {5, 0.1}, {5, 0.01}, {5, 0.003}} { // frames
		sway := func(t float64) float64 { return c.peak / rate * math.Sin(2*math.Pi*c.hz*t) }
		r, err := match.Compare(a, late(sway)(m, a))
		if err != nil {
			t.Errorf("%v: %v", c, err)
			continue
		}
		t.Logf("%v Hz, %v frames: null %.1f dB, channels %+v, %q", c.hz, c.peak, r.NullDB, r.Channels, r.Texts)
		said := of(r.Details, match.ClockSways)
		if (len(said) > 0) != (r.NullDB > -50) {
			t.Errorf("%v: null %.1f dB, %q", c, r.NullDB, r.Texts)
		}
		if len(said) == 0 {
			continue
		}
		if rms := said[0].Value; math.Abs(rms/(c.peak/math.Sqrt2)-1) > 0.3 {
			t.Errorf("%v: %v samples RMS, want %.3f", c, rms, c.peak/math.Sqrt2)
		}
		for _, ch := range r.Channels {
			if off := ch.OffsetSamples - r.OffsetSamples; math.Abs(off) > 0.01 {
				t.Errorf("%v: channel %d off by %.4f samples", c, ch.Channel, off)
			}
		}
	}
}
