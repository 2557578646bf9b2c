package match_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"heardiff/measure/match"
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
		says string // of what falls behind, "" = nothing
	}{
		{"3 dB more bass", peaking(150, 3, 0.7), ""},
		{"3 dB less bass", peaking(150, -3, 0.7), ""},
		{"3 dB less treble", peaking(4000, -3, 0.5), ""},
		{"clipped, then 3 dB more bass", both(clip, peaking(150, 3, 0.7)), "B falls behind by"},
		{"compressed, then 3 dB less treble", both(each(func(v float64) float64 { return 0.3 * math.Tanh(v/0.3) }), peaking(4000, -3, 0.5)), "B falls behind by"},
	} {
		r, err := match.Compare(a, c.do(m, plain.Clone()), match.Config{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		said := slices.DeleteFunc(slices.Clone(r.Texts), func(w string) bool { return !strings.Contains(w, "falls behind") })
		if c.says == "" && len(said) > 0 || c.says != "" && (len(said) != 1 || !strings.HasPrefix(said[0], c.says)) {
			t.Errorf("%s: %q, want %q", c.name, said, c.says)
		}
		t.Logf("%s: null %.1f dB, %q", c.name, r.NullDB, said)
	}
}
