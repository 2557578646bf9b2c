package main

import (
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/playback/pcm"
	"heardiff/trials/link"
)

// throughChain writes a signal as a chain with a little noise and a second harmonic would return it, and returns the file.
func throughChain(t *testing.T, dir, kind, name string, noise, second float64) string {
	t.Helper()
	sent := filepath.Join(dir, kind+".wav")
	command(t, 0, "signal", kind, "--seconds", "4", "--channels", "1", "--out", sent)
	return spoiled(t, sent, filepath.Join(dir, name), noise, second)
}

func TestAStudyIsReadAgainstItsFloor(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("HEARDIFF_KEYS", filepath.Join(dir, "keys"))
	study := filepath.Join(dir, "study")
	t.Setenv("HEARDIFF_STUDY", study)
	command(t, 0, "study", "new", study, "--title", "a test")
	command(t, 0, "chain", "add", "loop", "--role", "floor")
	command(t, 0, "chain", "add", "box")
	for _, kind := range []string{"tone", "low-tone", "silence", "two-tone"} {
		command(t, 0, "capture", "add", "box", throughChain(t, dir, kind, "box-"+kind+".wav", 1.1e-5, 1e-3), "--as", kind)
	}
	type measured struct {
		Measured []struct {
			Capture int    `json:"capture"`
			Chain   string `json:"chain"`
			Kind    string `json:"kind"`
			Floor   *int   `json:"floor"`
			Result  struct {
				Channel []struct {
					Limits []struct{ Figure, Standing string } `json:"limits"`
				} `json:"channel"`
			} `json:"result"`
		} `json:"measured"`
		Warnings []string `json:"warnings"`
	}
	read := func(args ...string) (m measured) {
		t.Helper()
		out, _ := command(t, 0, append([]string{"measure", "--json"}, args...)...)
		must(t, json.Unmarshal([]byte(out), &m))
		return m
	}
	first := read()
	for _, m := range first.Measured {
		if m.Floor != nil || len(m.Result.Channel[0].Limits) != 0 {
			t.Errorf("%s has a floor that was not recorded", m.Kind)
		}
	}
	for _, kind := range []string{"tone", "low-tone", "silence", "two-tone"} {
		command(t, 0, "capture", "add", "loop", throughChain(t, dir, kind, "loop-"+kind+".wav", 1e-5, 1e-6), "--as", kind)
	}
	late := read()
	if len(late.Measured) != 4 || len(late.Warnings) != 1 || !strings.Contains(late.Warnings[0], "4 captures") {
		t.Errorf("a floor that came later: %d measured, warnings %q", len(late.Measured), late.Warnings)
	}
	again := read("--again")
	if len(again.Measured) != 8 || len(again.Warnings) != 0 {
		t.Fatalf("again: %d measured, warnings %q", len(again.Measured), again.Warnings)
	}
	// Noise 0.8 dB above the set-up's is an upper bound, a harmonic 60 dB above it is measured.
	want := map[string]string{"thd_db": "measured", "noise_db": "upper bound", "unweighted_dbfs": "upper bound", "dynamic_range_db": "upper bound", "second_order_db": "measured"}
	seen := 0
	for _, m := range again.Measured {
		if (m.Chain == "box") != (m.Floor != nil) {
			t.Errorf("capture %d of %s: floor %v", m.Capture, m.Chain, m.Floor)
		}
		for _, l := range m.Result.Channel[0].Limits {
			if w, ok := want[l.Figure]; ok {
				seen++
				if l.Standing != w {
					t.Errorf("%s %s: %q, want %q", m.Kind, l.Figure, l.Standing, w)
				}
			}
		}
	}
	if seen != len(want) {
		t.Errorf("%d of %d limits stored", seen, len(want))
	}
	figures, _ := figuresIn(t, study, "box", "box", "loop")
	for metric, measured := range map[link.Metric]bool{link.THDN: true, link.Noise: false, link.NoiseUnderTone: false} {
		f := figures[metric]
		if len(f) != 1 || math.IsNaN(f[0].Limit) || math.IsNaN(f[0].Value) == measured || measured && f[0].Limit >= f[0].Value {
			t.Errorf("%s in the link: %+v, measured should be %v", metric, f, measured)
		}
	}
	command(t, exitUsage, "measure", "--plot", "x.svg")
	command(t, exitUsage, "measure", "--floor", "x.wav")
	command(t, exitUsage, "measure", "x.wav", "--as", "tone", "--again")
	var none measured
	if none = read(); len(none.Measured) != 0 {
		t.Errorf("nothing is new, yet %d were measured", len(none.Measured))
	}
}

// spoiled adds Gaussian noise and a second-order term to a file.
func spoiled(t *testing.T, from, to string, noise, second float64) string {
	t.Helper()
	clip := audioOf(t, from)
	random := newNoise(uint64(len(to)))
	for _, x := range clip.Channels {
		for i, v := range x {
			x[i] = 0.8*(v+second*v*v) + noise*random()
		}
	}
	saveWAV(t, to, clip)
	return to
}

func audioOf(t *testing.T, path string) pcm.Clip {
	t.Helper()
	f, err := (&app{}).open(path)
	must(t, err)
	defer f.Close()
	clip, err := pcm.Load(f, 0, -1)
	must(t, err)
	return clip
}
