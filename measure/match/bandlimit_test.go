package match_test

import (
	"slices"
	"strings"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// A band limit is named though noise fills the gap, or though a code has replaced the treble below it; and music that ends
// by itself, under the noise of one capture, is none.
func TestBandLimitsUnderNoiseAndInCodes(t *testing.T) {
	clean := dull(faultRate*6, 3)
	limit := lowpass(7750.0/12000, 8250.0/12000)
	coded := clean.Clone()
	other := dull(faultRate*6, 4)
	low := lowpass(3750.0/12000, 4250.0/12000)(music{}, other)
	for c, ch := range coded.Channels {
		for i := range ch { // what a code makes of the treble: as strong, but hardly the same
			ch[i] += 0.9 * (other.Channels[c][i] - low.Channels[c][i])
		}
	}
	for _, c := range []struct {
		name           string
		a, b           pcm.Clip
		noiseA, noiseB float64
		says           string // "" = no band limit
	}{
		{"a low-pass under equal noise", clean, limit(music{}, clean), 4e-4, 4e-4, "B ends at 8."},
		{"a code", clean, limit(music{}, coded), 1e-7, 1e-7, "B ends at 8."},
		{"music that ends by itself", limit(music{}, clean), limit(music{}, clean), 1e-4, 1e-6, ""},
		{"noise alone", clean, clean, 1e-6, 1e-4, ""},
	} {
		r, err := match.Compare(way{noise: c.noiseA, seed: 1}.finish(c.a.Clone()), way{noise: c.noiseB, seed: 2}.finish(c.b.Clone()), match.Config{})
		if err != nil {
			t.Fatal(err)
		}
		limits := slices.DeleteFunc(r.Warnings, func(w string) bool { return !strings.Contains(w, " ends at ") })
		if c.says == "" && len(limits) > 0 || c.says != "" && (len(limits) != 1 || !strings.HasPrefix(limits[0], c.says)) {
			t.Errorf("%s: null %.1f dB, %q, want %q", c.name, r.NullDB, limits, c.says)
		}
	}
}

// Clipping makes treble above the music of the one; that is no band limit of the other. A real one is still named.
func TestClippingIsNoBandLimitOfTheOther(t *testing.T) {
	m := newMusic(12, 6, 8000)
	a := m.capture(faultRate, 6*faultRate, way{noise: 1e-6, seed: 4})
	b := each(func(v float64) float64 { return max(-0.2, min(0.2, v)) })(m, m.capture(faultRate, 6*faultRate, way{offset: 350.25, noise: 1e-6, seed: 5}))
	short := way{noise: 1e-6, seed: 6}.finish(lowpass(4750.0/12000, 5250.0/12000)(m, a.Clone()))
	for _, c := range []struct {
		name string
		a    pcm.Clip
		says string // "" = no band limit
	}{{"A is whole", a, ""}, {"A ends at 5 kHz", short, "A ends at 5.0 kHz"}} {
		r, err := match.Compare(c.a, b, match.Config{})
		if err != nil {
			t.Fatal(err)
		}
		limits := slices.DeleteFunc(slices.Clone(r.Warnings), func(w string) bool { return !strings.Contains(w, " ends at ") })
		if c.says == "" && len(limits) > 0 || c.says != "" && (len(limits) != 1 || !strings.HasPrefix(limits[0], c.says)) {
			t.Errorf("%s: %q, want %q", c.name, r.Warnings, c.says)
		}
		if !slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.HasPrefix(w, "B is clipped") }) {
			t.Errorf("%s: %q: the test needs clipping", c.name, r.Warnings)
		}
		if slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.Contains(w, "stands out") }) {
			t.Errorf("%s: %q: clipping is said by itself", c.name, r.Warnings)
		}
	}
}
