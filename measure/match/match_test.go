package match_test

import (
	"math"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

func TestRecoversKnownTruth(t *testing.T) {
	const rate, seconds = 48000, 30
	m := newMusic(1, seconds, 19000)
	a := m.capture(rate, rate*seconds, way{bits: 24, noise: 0})
	for _, c := range []struct {
		name string
		way  way
	}{
		{"fraction of a sample", way{offset: 0.37, bits: 24}},
		{"late by seconds", way{offset: 123456.789, drift: 12e-6, gain: 1.1, bits: 24}},
		{"early, fast clock", way{offset: -98765.4321, drift: 200e-6, gain: -0.5, bits: 24}},
		{"slow clock, noise", way{offset: 4321.5, drift: -200e-6, gain: 0.97, noise: 1e-4, seed: 3}},
	} {
		b := m.capture(rate, rate*seconds, c.way)
		r, err := match.Compare(a, b, match.Config{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		g := c.way.gain
		if g == 0 {
			g = 1
		}
		t.Logf("%s: offset err %.2g ± %.2g, drift err %.2g ± %.2g ppm, gain err %.2g ± %.2g dB, null %.2f, conf %.2f kind %s %v", c.name,
			r.OffsetSamples-c.way.offset, r.StandardErrors.OffsetSamples, r.DriftPPM-1e6*c.way.drift, r.StandardErrors.DriftPPM,
			r.GainDB-pcm.DB(math.Abs(g)), r.StandardErrors.GainDB, r.NullDB, r.Confidence, r.Residual.Kind, r.Warnings)
		if e := math.Abs(r.OffsetSamples - c.way.offset); e > max(0.005, 3*r.StandardErrors.OffsetSamples) {
			t.Errorf("%s: offset off by %v samples", c.name, e)
		}
		if e := math.Abs(r.DriftPPM - 1e6*c.way.drift); e > max(0.02, 3*r.StandardErrors.DriftPPM) {
			t.Errorf("%s: drift off by %v ppm", c.name, e)
		}
		if e := math.Abs(r.GainDB - pcm.DB(math.Abs(g))); e > max(0.002, 3*r.StandardErrors.GainDB) {
			t.Errorf("%s: gain off by %v dB", c.name, e)
		}
		if (g < 0) != (r.Polarity == match.Inverted) {
			t.Errorf("%s: polarity %s", c.name, r.Polarity)
		}
		if c.way.noise == 0 && r.NullDB > -110 {
			t.Errorf("%s: null %.1f dB, want below −110", c.name, r.NullDB)
		}
	}
}
