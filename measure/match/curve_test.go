package match_test

import (
	"math"
	"testing"

	"heardiff/measure/match"
	"heardiff/measure/match/fault"
)

// A filter that raises the bass makes peaks of its own; neither capture clips for that. One that clips before it still does.
func TestFiltersDoNotPassForClipping(t *testing.T) {
	m := newMusic(12, 6, 11000)
	a := m.capture(faultRate, 6*faultRate, way{noise: 1e-5, seed: 4})
	plain := m.capture(faultRate, 6*faultRate, faultWay)
	clip := each(func(v float64) float64 { return max(-0.2, min(0.2, v)) })
	for _, c := range []struct {
		name string
		do   faulty
		want bool // B falls behind
	}{
		{"3 dB more bass", peaking(150, 3, 0.7), false},
		{"3 dB less bass", peaking(150, -3, 0.7), false},
		{"3 dB less treble", peaking(4000, -3, 0.5), false},
		{"clipped, then 3 dB more bass", both(clip, peaking(150, 3, 0.7)), true},
		{"compressed, then 3 dB less treble", both(each(func(v float64) float64 { return 0.3 * math.Tanh(v/0.3) }), peaking(4000, -3, 0.5)), true},
	} {
		r, err := match.Compare(a, c.do(m, plain.Clone()))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		said := of(r.Details, fault.Compressed)
		if !c.want && len(said) > 0 || c.want && (len(said) != 1 || !(said[0].Value > 0)) {
			t.Errorf("%s: %v, want %v", c.name, said, c.want)
		}
		t.Logf("%s: null %.1f dB, %v", c.name, r.NullDB, said)
	}
}
