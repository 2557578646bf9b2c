package main

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// throughChain writes a signal as a chain with a little noise and a second harmonic would return it, and returns the file.
func throughChain(t *testing.T, dir, kind, name string, noise, second float64) string {
	t.Helper()
	sent := filepath.Join(dir, kind+".wav")
	command(t, 0, "signal", kind, "--force", "--seconds", "4", "--channels", "1", "--out", sent)
	return spoiled(t, sent, filepath.Join(dir, name), noise, second)
}

// floorKinds are the signals of these tests.
var floorKinds = []string{"tone", "low-tone", "silence", "two-tone"}

// captureAll adds a capture of every signal, as a chain with that much noise and second harmonic returns it.
func captureAll(t *testing.T, dir, chain string, noise, second float64) {
	t.Helper()
	for _, kind := range floorKinds {
		command(t, 0, "capture", "add", chain, throughChain(t, dir, kind, chain+"-"+kind+".wav", noise, second), "--as", kind)
	}
}

// measuredStudy is what the tests read of "measure --json".
type measuredStudy struct {
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
	warning.Warnings
}

func measureAll(t *testing.T, args ...string) (m measuredStudy) {
	t.Helper()
	decode(t, &m, append([]string{"measure", "--json"}, args...)...)
	return m
}

func TestAStudyIsReadAgainstItsFloor(t *testing.T) {
	dir, folder := emptyStudy(t)
	command(t, 0, "chain", "add", "loop", "--role", "floor")
	command(t, 0, "chain", "add", "box")
	captureAll(t, dir, "box", 1.1e-5, 1e-3)
	for _, m := range measureAll(t).Measured {
		if m.Floor != nil || len(m.Result.Channel[0].Limits) != 0 {
			t.Errorf("%s has a floor that was not recorded", m.Kind)
		}
	}
	captureAll(t, dir, "loop", 1e-5, 1e-6)
	late := measureAll(t)
	if len(late.Measured) != 4 || len(late.Details) != 1 || late.Details[0].Code != study.LateFloor || late.Details[0].Value != 4 {
		t.Errorf("a floor that came later: %d measured, warnings %q", len(late.Measured), late.Texts)
	}
	again := measureAll(t, "--again")
	if len(again.Measured) != 8 || len(again.Texts) != 0 {
		t.Fatalf("again: %d measured, warnings %q", len(again.Measured), again.Texts)
	}
	again.wantReadAgainstTheFloor(t)
	figures, _ := figuresIn(t, folder, "box", "box", "loop")
	for metric, measured := range map[link.Metric]bool{link.THDN: true, link.Noise: false, link.NoiseUnderTone: false} {
		f := figures[metric]
		if len(f) != 1 || math.IsNaN(f[0].Limit) || math.IsNaN(f[0].Value) == measured || measured && f[0].Limit >= f[0].Value {
			t.Errorf("%s in the link: %+v, measured should be %v", metric, f, measured)
		}
	}
	if none := measureAll(t); len(none.Measured) != 0 {
		t.Errorf("nothing is new, yet %d were measured", len(none.Measured))
	}
}

// wantReadAgainstTheFloor checks the stored limits: noise 0.8 dB above the set-up's is an upper bound, a harmonic 60 dB above
// it is measured.
func (m measuredStudy) wantReadAgainstTheFloor(t *testing.T) {
	t.Helper()
	want := map[string]string{"thd_db": "measured", "noise_db": "upper bound", "unweighted_dbfs": "upper bound", "dynamic_range_db": "upper bound", "second_order_db": "measured"}
	seen := 0
	for _, one := range m.Measured {
		if (one.Chain == "box") != (one.Floor != nil) {
			t.Errorf("capture %d of %s: floor %v", one.Capture, one.Chain, one.Floor)
		}
		for _, l := range one.Result.Channel[0].Limits {
			if w, ok := want[l.Figure]; ok {
				seen++
				if l.Standing != w {
					t.Errorf("%s %s: %q, want %q", one.Kind, l.Figure, l.Standing, w)
				}
			}
		}
	}
	if seen != len(want) {
		t.Errorf("%d of %d limits stored", seen, len(want))
	}
}

func TestFlagsOfAFileAreRefusedForAStudy(t *testing.T) {
	refused(t, exitUsage, "measure", "--plot", "x.svg")
	refused(t, exitUsage, "measure", "--floor", "x.wav")
	refused(t, exitUsage, "measure", "x.wav", "--as", "tone", "--again")
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
	f, err := audiofile.Open(context.Background(), path)
	must(t, err)
	defer f.Close()
	clip, err := pcm.Load(f, 0, -1)
	must(t, err)
	return clip
}

// The signal played may have words of 16 bits: said once, a study's captures are read so.
func TestAStudysJitterIsReadByTheWordsThatWerePlayed(t *testing.T) {
	dir := t.TempDir()
	signal := filepath.Join(dir, "signal.wav")
	command(t, 0, "signal", "jitter", "--rate", "48000", "--bits", "16", "--seconds", "5", "--out", signal)
	study := filepath.Join(dir, "study")
	command(t, 0, "study", "new", study, "--title", "words")
	t.Setenv("HEARDIFF_STUDY", study)
	command(t, 0, "chain", "add", "usb")
	command(t, 0, "capture", "add", "usb", signal, "--as", "jitter")
	const warned = `"code":"shorter-words"`
	if out, _ := command(t, 0, "measure"); !strings.Contains(out, "hint: measure it with --bits 16") {
		t.Errorf("words of 16 bits, read as 24: %s", out)
	}
	if out, _ := command(t, 0, "measure", "--again", "--json"); !strings.Contains(out, warned) {
		t.Errorf("words of 16 bits, read as 24: %s", out)
	}
	if out, _ := command(t, 0, "measure", "--again", "--bits", "16", "--json"); strings.Contains(out, warned) || !strings.Contains(out, `"deterministic_ps_rms":0,`) {
		t.Errorf("words of 16 bits, read as such: %.2000s", out)
	}
	command(t, 2, "measure", "--bits", "20")
	// The text for people has the warnings of the captures' own results, too.
	longer := filepath.Join(dir, "longer.wav")
	command(t, 0, "signal", "jitter", "--rate", "48000", "--bits", "16", "--seconds", "6", "--out", longer)
	command(t, 0, "capture", "add", "usb", longer, "--as", "jitter")
	const twin = "warning: capture 1 (usb), 2 (usb): the channels are identical"
	if out, _ := command(t, 0, "measure", "--again"); strings.Count(out, twin) != 1 {
		t.Errorf("want %q once: %s", twin, out)
	}
	if _, html := reported(t); !strings.Contains(html, "The channels are the same recording twice: the figures are of one channel.") {
		t.Error("the report does not say what the captures warn of")
	}
}
