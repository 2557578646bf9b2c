package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"heardiff/measure"
)

// A floor, a reference or an overlay of another rate or number of channels is refused in one line that says which, of every kind.
func TestWhatWasRecordedOtherwiseIsRefused(t *testing.T) {
	t.Chdir(t.TempDir())
	for kind, as := range map[string]string{"tone": "tone", "low-tone": "low-tone", "silence": "noise", "two-tone": "two-tone", "sweep": "sweep"} {
		for file, more := range map[string][]string{"capture.wav": nil, "mono.wav": {"--channels", "1"}, "slow.wav": {"--rate", "44100"}, "fast.wav": {"--rate", "96000"}} {
			command(t, 0, append([]string{"signal", kind, "--seconds", "4", "--force", "--out", file}, more...)...)
		}
		for file, want := range map[string]string{"mono.wav": "48000 Hz in 1 channel", "slow.wav": "44100 Hz in 2 channels", "fast.wav": "96000 Hz in 2 channels"} {
			uses := [][]string{{"--floor", file}, {"--overlay", file, "--plot", "x.svg"}}
			if as == "noise" {
				uses = append(uses, []string{"--reference", file})
			}
			for _, use := range uses {
				said := refused(t, exitRejected, append([]string{"measure", "capture.wav", "--as", as}, use...)...)
				if !strings.Contains(said, file+": a") || !strings.Contains(said, want) || !strings.Contains(said, "hint: ") {
					t.Errorf("%s, %q: %q", as, use, said)
				}
			}
		}
	}
	if _, err := os.Stat("x.svg"); err == nil {
		t.Error("a picture was drawn")
	}
}

// What is wrong with a floor or an overlay is said under its name, and a floor at another level too.
func TestWhatIsWrongWithAFloorIsSaid(t *testing.T) {
	t.Chdir(t.TempDir())
	command(t, 0, "signal", "tone", "--seconds", "4", "--out", "tone.wav")
	command(t, 0, "signal", "tone", "--seconds", "4", "--dbfs", "-20", "--out", "low.wav")
	clip := audioOf(t, "tone.wav")
	clip.Channels[0][100_000] = 1
	saveWAV(t, "clipped.wav", clip)
	for _, use := range [][]string{{"--floor", "clipped.wav"}, {"--overlay", "clipped.wav", "--plot", "x.svg"}} {
		out, _ := command(t, 0, append([]string{"measure", "tone.wav", "--as", "tone"}, use...)...)
		if !strings.Contains(out, "warning: clipped.wav: channel 1: 1 samples at full scale") {
			t.Errorf("%q: %s", use, out)
		}
	}
	out, _ := command(t, 0, "measure", "tone.wav", "--as", "tone", "--floor", "low.wav")
	if !strings.Contains(out, "warning: channel 2: the floor's tone is at −20.0 dBFS") {
		t.Error(out)
	}
}

// In a study a capture is read against the floor of its own rate and channels; where there is none, that is said.
func TestAStudysFloorIsTheOneRecordedAlike(t *testing.T) {
	dir, _ := emptyStudy(t)
	command(t, 0, "chain", "add", "loop", "--role", "floor")
	command(t, 0, "chain", "add", "box")
	add := func(chain, rate, channels string) {
		sent := filepath.Join(dir, rate+channels+".wav")
		command(t, 0, "signal", "silence", "--force", "--seconds", "2", "--rate", rate, "--channels", channels, "--out", sent)
		command(t, 0, "capture", "add", chain, spoiled(t, sent, filepath.Join(dir, chain+rate+channels+".wav"), 1e-5, 0), "--as", "silence")
	}
	add("loop", "48000", "2")
	add("loop", "96000", "1")
	add("box", "48000", "2")
	add("box", "96000", "1")
	add("box", "44100", "2")
	add("box", "48000", "1")
	m := measureAll(t)
	for _, one := range m.Measured[2:] {
		want := map[int]int{3: 1, 4: 2}[one.Capture]
		if (one.Floor == nil) != (want == 0) || one.Floor != nil && *one.Floor != want || (want == 0) != (len(one.Result.Channel[0].Limits) == 0) {
			t.Errorf("capture %d has floor %v, want %d", one.Capture, one.Floor, want)
		}
	}
	var unlimited []float64
	for _, w := range m.Details {
		if w.Code == measure.NoFloor {
			unlimited = append(unlimited, w.Value)
		}
	}
	if len(m.Details) != 2 || !slices.Equal(unlimited, []float64{5, 6}) {
		t.Errorf("captures %v have no limit, warnings %q", unlimited, m.Texts)
	}
}
