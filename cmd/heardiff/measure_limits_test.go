package main

import (
	"strings"
	"testing"

	"heardiff/measure/tone"
)

// Every figure that has a limit is named in words: what each measurement gives is looked up, and nothing of its key is left.
func TestLimitsAreNamedInWords(t *testing.T) {
	spectral := []tone.Line{{Hz: 50, DBC: -90}}
	level := []tone.LevelLine{{Hz: 50, DBFS: -90}}
	one := tone.Result{RateHz: 48000, Channel: []tone.Channel{{FrequencyHz: 997, Hum: spectral, Spurs: spectral, Harmonics: []tone.Harmonic{{Order: 2, DBC: -80}, {Order: 3, DBC: -90}}}}}
	noise := tone.NoiseResult{RateHz: 48000, Channel: []tone.NoiseChannel{{Hum: level, Spurs: level}}}
	low := tone.LowToneResult{RateHz: 48000, Channel: []tone.LowToneChannel{{}}}
	two := tone.TwoToneResult{RateHz: 48000, Channel: []tone.TwoToneChannel{{LowHz: 60, HighHz: 7000, Products: []tone.Product{{Hz: 6940, Order: 2, DBC: -80}}}}}
	must(t, one.SetFloor(one))
	must(t, noise.SetFloor(noise))
	must(t, low.SetFloor(low))
	must(t, two.SetFloor(two))
	for kind, limits := range map[string][]tone.Limit{"tone": one.Channel[0].Limits, "noise": noise.Channel[0].Limits, "low tone": low.Channel[0].Limits, "two tones": two.Channel[0].Limits} {
		if len(limits) < 3 {
			t.Errorf("%s: only %d limits", kind, len(limits))
		}
		for _, l := range limits {
			if name := limitName(l.Figure); strings.ContainsAny(name, "_[]") || name == l.Figure && strings.HasSuffix(name, "db") {
				t.Errorf("%s: %q", kind, name)
			}
		}
	}
	if limitName("harmonics[2].dbc") != "harmonic 4" || limitName("hum[0].dbfs") != "hum 1" || limitName("products[1].dbc") != "product 2" {
		t.Errorf("%s, %s, %s", limitName("harmonics[2].dbc"), limitName("hum[0].dbfs"), limitName("products[1].dbc"))
	}
}
