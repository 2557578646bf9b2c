package main

import (
	"html"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/wav"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/link"
)

// jitteryBench makes a study of three chains whose random jitter is measured: clean and hissing have 200 ps, loose has 300 ns. The
// hissing one adds noise; a ladder of random jitter is put into the clean one.
func jitteryBench(t *testing.T) {
	t.Helper()
	dir, _ := emptyStudy(t)
	clean := filepath.Join(dir, "clean.wav")
	must(t, wav.Save(clean, music(3), ""))
	for i, c := range []struct {
		chain, dose string
		ps          float64
	}{{"clean", "", 200}, {"hissing", "--noise-dbfs -60", 200}, {"loose", "--jitter random --jitter-ps 300000", 300_000}} {
		played, tone := filepath.Join(dir, c.chain+".wav"), filepath.Join(dir, c.chain+"-jitter.wav")
		if c.dose != "" {
			command(t, 0, append([]string{"impair", clean, "--out", played}, strings.Fields(c.dose)...)...)
		}
		saveWords(t, tone, jittertest.Clip(jittertest.Capture{Rate: 48000, Seconds: 3, CarrierHz: 12000 * (1 + 3e-6), Amplitude: 0.7, NoiseDBFS: -120,
			Seed: uint64(i + 1), RandomPs: c.ps, RandomLowHz: 10, RandomHighHz: 10_000}))
		command(t, 0, "chain", "add", c.chain)
		command(t, 0, "capture", "add", c.chain, played, "--as", "music")
		command(t, 0, "capture", "add", c.chain, tone, "--as", "jitter")
	}
	command(t, 0, "measure")
	command(t, 0, "prepare", "--excerpt", "1:1", "--name", "e")
	command(t, 0, "prepare", "--ladder", "random-jitter", "--from", "1000", "--to", "1000000", "--steps", "7", "--chain", "clean")
}

// A listener with a threshold of 30 ns distinguishes the noise that no threshold speaks of, and does not distinguish 300 ns from 200 ps, which by that
// threshold is plain: two surprises, said by link, its JSON and the report.
func TestASurpriseIsSaidEverywhere(t *testing.T) {
	jitteryBench(t)
	command(t, 0, "listener", "add", "L1", "--simulated")
	command(t, 0, "plan", "new", "--id", "ladder", "--threshold", "random-jitter", "--trials", "80", "--practice", "0", "--positive", "0")
	sitThrough(t, "ladder", "L1", climbing(t, 3, map[string]float64{"random-jitter": 20 * math.Log10(30_000)}))
	command(t, 0, "plan", "new", "--id", "pairs", "--a", "clean", "--b", "hissing", "--also", "clean:loose", "--trials", "60", "--rest", "0")
	truthful(t, "pairs", "L1", 1, func(c trials.Comparison) float64 {
		if c.B == "hissing" {
			return 0.95
		}
		return 0
	})
	out, _ := command(t, 0, "link", "--json")
	var linked struct {
		Predictions []link.Prediction `json:"threshold_predictions"`
	}
	must(t, wire.Unmarshal([]byte(out), &linked))
	want := map[string][3]string{
		"hissing": {link.NotToldApart, string(link.HeardIt), "look for another difference"},
		"loose":   {link.ToldApart, string(link.RuledOut), "look whether the test had another excerpt"},
	}
	_, page := reported(t)
	text, _ := command(t, 0, "link")
	report := html.UnescapeString(page)
	for _, p := range linked.Predictions {
		of := want[p.B]
		if p.Agreement != link.Surprise || p.Predicted != of[0] || string(p.Verdict) != of[1] || !strings.Contains(p.Says, "a surprise, "+of[2]) {
			t.Errorf("%+v, want %v", p, of)
		}
		if !strings.Contains(text, p.Says) || !strings.Contains(report, p.Says) {
			t.Errorf("link or the report does not say %q", p.Says)
		}
	}
	if len(linked.Predictions) != len(want) {
		t.Errorf("%d predictions", len(linked.Predictions))
	}
}
