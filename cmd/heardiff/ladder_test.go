package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// oneChain makes a study of one chain with six seconds of music.
func oneChain(t *testing.T) (study string) {
	t.Helper()
	dir, study := emptyStudy(t)
	command(t, 0, "chain", "add", "bus")
	file := filepath.Join(dir, "music.wav")
	must(t, wav.Save(file, music(6), ""))
	command(t, 0, "capture", "add", "bus", file, "--as", "music")
	return study
}

type steps struct {
	Excerpts []struct {
		Excerpt       string
		Presentations []struct {
			Path  string
			Dosed struct {
				Dose         float64
				Unit         string
				DifferenceDB float64 `json:"difference_db"`
			}
		}
	}
}

func prepareSteps(t *testing.T, args ...string) steps {
	t.Helper()
	var s steps
	decode(t, &s, append([]string{"prepare", "--json", "--ladder"}, args...)...)
	return s
}

// The file of every step holds the clean excerpt and its dose, and nothing else: what differs has the level that follows
// from the dose. White noise of L dBFS has an RMS value of 10^(L/20)/√2; gain of g dB changes every sample by the
// factor 10^(g/20) − 1.
func TestALadderHoldsTheDosesAskedFor(t *testing.T) {
	study := oneChain(t)
	noise := prepareSteps(t, "noise", "--from", "-80", "--to", "-50", "--steps", "4", "--excerpt", "1:4", "--name", "e")
	gain := prepareSteps(t, "gain", "--from", "-0.5", "--to", "-2", "--steps", "2")
	clean := loadWAV(t, filepath.Join(study, "audio", "excerpts", "e", "bus.wav"))
	for _, p := range noise.Excerpts[0].Presentations {
		got := 20*math.Log10(rmsBetween(clean, loadWAV(t, filepath.Join(study, p.Path)))) + 20*math.Log10(math.Sqrt2)
		// The fades take 0.012 dB; the noise of 200 000 samples a channel is known to 0.01 dB.
		if math.Abs(got-p.Dosed.Dose) > 0.04 {
			t.Errorf("%s: noise of %.3f dBFS, want %v", p.Path, got, p.Dosed.Dose)
		}
	}
	for _, p := range gain.Excerpts[0].Presentations {
		want := 20 * math.Log10(1-math.Pow(10, p.Dosed.Dose/20))
		if math.Abs(p.Dosed.DifferenceDB-want) > 0.01 {
			t.Errorf("%s: change of %v dB, want %v", p.Path, p.Dosed.DifferenceDB, want)
		}
	}
}

func rmsBetween(a, b pcm.Clip) float64 {
	sum := 0.0
	for c := range a.Channels {
		for i, v := range a.Channels[c] {
			d := b.Channels[c][i] - v
			sum += d * d
		}
	}
	return math.Sqrt(sum / float64(a.Len()*len(a.Channels)))
}

func TestALaddersMistakesAreNamedAndLeaveNothing(t *testing.T) {
	study := oneChain(t)
	command(t, 3, "plan", "new", "--ladder", "noise", "--trials", "5")
	for _, c := range []struct {
		args []string
		exit int
		says string
	}{
		{[]string{"--ladder", "wow"}, 2, "random-jitter"},
		{[]string{"--ladder", "gain", "--from", "-1", "--to", "1"}, 2, "same side"},
		{[]string{"--ladder", "periodic-jitter", "--from", "10", "--to", "1000"}, 2, "0 Hz"},
		{[]string{"--ladder", "gain", "--from", "1", "--to", "90"}, 3, "clip"},
		{[]string{"--ladder", "gain", "--from", "1e-9", "--to", "2e-9"}, 3, "changes no sample"}, // 32-bit floats step by 5e-7 dB
		{[]string{"--ladder", "noise", "--from", "-80", "--to", "-60", "--of", "nothing"}, 3, "no prepared excerpt"},
		{[]string{"--ladder", "noise", "--from", "-80", "--to", "-60", "--chain", "other"}, 3, "other"},
		{[]string{"--steps", "3"}, 2, "--ladder"},
		{[]string{"--length", "3"}, 2, "--suggest"},
		{[]string{"--suggest", "0"}, 2, "--suggest"},
		{[]string{"--suggest", "2", "--length", "60"}, 3, "less than one stretch"},
	} {
		_, errs := command(t, c.exit, append([]string{"prepare"}, c.args...)...)
		if !strings.Contains(errs, c.says) || strings.Count(errs, "\n") > 2 {
			t.Errorf("%v: %q does not say %q", c.args, errs, c.says)
		}
	}
	folders, err := os.ReadDir(filepath.Join(study, "audio", "excerpts"))
	must(t, err)
	if len(folders) > 1 { // the one is the clean excerpt itself, cut by the first command that got so far
		t.Errorf("%d folders are left behind: %v", len(folders), folders)
	}
}

func TestAPlanOfALadderComparesEachDoseWithTheCleanExcerpt(t *testing.T) {
	oneChain(t)
	prepareSteps(t, "noise", "--from", "-80", "--to", "-60", "--steps", "3", "--excerpt", "1:4")
	prepareSteps(t, "periodic-jitter", "--from", "1000", "--to", "100000", "--steps", "3", "--jitter-hz", "3000")
	prepareSteps(t, "periodic-jitter", "--from", "1000", "--to", "100000", "--steps", "3", "--jitter-hz", "300")
	if _, errs := command(t, 2, "plan", "new", "--ladder", "periodic-jitter", "--trials", "5"); !strings.Contains(errs, "at 300 Hz") {
		t.Errorf("two ladders: %s", errs)
	}
	command(t, 2, "plan", "new", "--ladder", "noise", "--a", "bus", "--b", "bus", "--trials", "5")
	command(t, 0, "plan", "new", "--ladder", "periodic jitter at 300 Hz", "--trials", "5")
	var p struct {
		Comparisons []struct {
			Name   string
			AudioA string `json:"audio_a"`
			AudioB string `json:"audio_b"`
		}
	}
	out := decode(t, &p, "plan", "new", "--ladder", "noise", "--trials", "5", "--positive", "2", "--negative", "2", "--json")
	if len(p.Comparisons) != 5 {
		t.Fatalf("%d comparisons: %s", len(p.Comparisons), out)
	}
	audio := map[string]bool{}
	for i, c := range p.Comparisons[:3] {
		if want := fmt.Sprintf("bus + %d dBFS white noise", -80+10*i); c.Name != want || c.AudioA != p.Comparisons[0].AudioA {
			t.Errorf("comparison %q, want %q, all against the same clean excerpt", c.Name, want)
		}
		audio[c.AudioB] = true
	}
	if len(audio) != 3 {
		t.Error("two doses share their audio")
	}
}

func TestSuggestionsCanBeCut(t *testing.T) {
	oneChain(t)
	var s struct {
		Suggestions []struct {
			StartS  float64 `json:"start_s"`
			Seconds float64
			Kind    string
		}
	}
	if out := decode(t, &s, "prepare", "--suggest", "2", "--length", "2", "--json"); len(s.Suggestions) == 0 {
		t.Fatalf("none in %s", out)
	}
	first := s.Suggestions[0]
	command(t, 0, "prepare", "--ladder", "gain", "--from", "-1", "--to", "-2", "--steps", "2", "--excerpt", fmt.Sprintf("%.2f:%g", first.StartS, first.Seconds))
}
