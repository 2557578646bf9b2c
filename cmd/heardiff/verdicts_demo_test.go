package main

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"heardiff/cmd/heardiff/internal/demo"
	"heardiff/playback/wav"
	"heardiff/trials/link"
)

// shortDemonstration prepares the demonstration's bench on a short piece of music, so far as its listening needs it: the chains of the
// names given, or all.
func shortDemonstration(t *testing.T, seed uint64, chains ...string) *demonstration {
	t.Helper()
	dir := t.TempDir()
	at(t, dir, "study")
	d := &demonstration{dir: filepath.Join(dir, "study"), seed: seed, ears: demoListeners,
		app: &app{stdout: &bytes.Buffer{}, stderr: &bytes.Buffer{}, now: time.Now, getenv: os.Getenv}}
	must(t, d.study(context.Background()))
	sent := music(3)
	for i, c := range demo.Bench() {
		if c.Role != "source" || len(chains) > 0 && !slices.Contains(chains, c.Name) {
			continue
		}
		file := filepath.Join(dir, c.Name+".wav")
		clip, err := demo.Record(t.Context(), c, sent, uint64(i))
		must(t, err)
		must(t, wav.Save(file, clip, ""))
		command(t, 0, "capture", "add", c.Name, file, "--as", "music", "--music", "round")
	}
	command(t, 0, "prepare", "--music", "round", "--excerpt", "1:1")
	return d
}

// drawnDemonstration runs the demonstration's design (its chains, plans and groups) with listeners whose thresholds are drawn, from
// those that hear everything to those that hear nothing.
func drawnDemonstration(t *testing.T, random *rand.Rand) {
	t.Helper()
	d := shortDemonstration(t, random.Uint64())
	d.ears = nil
	for _, l := range demoListeners {
		l.threshold = -80 + 80*random.Float64()
		d.ears = append(d.ears, l)
	}
	must(t, d.listen(context.Background()))
}

// The thresholds that the demonstration invents are found again by its threshold run.
func TestTheDemonstrationFindsItsThresholds(t *testing.T) {
	d := shortDemonstration(t, 5, demo.Bench()[0].Name, demo.Bench()[1].Name)
	for _, l := range d.ears {
		command(t, 0, "listener", "add", l.id, "--group", l.group, "--simulated")
	}
	must(t, d.thresholds(context.Background()))
	var linked struct {
		Thresholds []struct {
			Kind, Listener string
			BelowMusicDB   float64    `json:"below_music_db"`
			Interval       [2]float64 `json:"threshold_interval"`
		}
	}
	decode(t, &linked, "link", "--json")
	found, half := map[string]float64{}, map[string]float64{}
	for _, h := range linked.Thresholds {
		if h.Kind == "listener" {
			found[h.Listener], half[h.Listener] = h.BelowMusicDB, 10*math.Log10(h.Interval[1]/h.Interval[0])
		}
	}
	for _, l := range demoListeners {
		// Three quarters right is 0.27 dB below where d′ is 1. Twice the half-width of the 95 % interval is some four standard errors;
		// eighty trials leave one of 16 dB at the worst (of 96), and a run of the wrong sound has one of the ladder's 80.
		if truth := 0.27 - l.threshold; !(math.Abs(found[l.id]-truth) < 2*half[l.id]) || half[l.id] > 20 {
			t.Errorf("%s: %.1f ± %.1f dB below the music, the ear has %.1f", l.id, found[l.id], half[l.id], truth)
		}
	}
}

// The verdicts of the demonstration's own design are the same in link, results, pool, the report and on every listener's closing
// screen, whatever its listeners hear.
func TestEveryScreenGivesTheVerdictsOfTheDemonstration(t *testing.T) {
	studies := 1
	if *wide {
		studies = 12
	}
	seen := map[link.Verdict]int{}
	for seed := range studies {
		drawnDemonstration(t, rand.New(rand.NewPCG(uint64(seed), 11)))
		for _, r := range sameEverywhere(t, 5*(4+2+1)) {
			seen[r.Verdict]++
		}
	}
	if t.Logf("%v", seen); len(seen) < 3 {
		t.Errorf("the studies came to nothing but %v", seen)
	}
}

// saysWhatRuledOutRisks demands that every screen says what the level of 'ruled out' holds for, with the risk over all rows: each
// listener's closing screen too, where it says 'ruled out'.
func saysWhatRuledOutRisks(t *testing.T, screens, closing map[string]string) {
	t.Helper()
	var linked struct{ Family link.FamilySummary }
	decode(t, &linked, "link", "--json")
	want := linked.Family.RuledOutWords()
	for name, text := range screens {
		if !strings.Contains(text, want) {
			t.Errorf("%s does not say %q", name, want)
		}
	}
	for who, text := range closing {
		if strings.Contains(text, ": ruled out. ") && !strings.Contains(text, want) {
			t.Errorf("the closing screen of %s says 'ruled out' without %q: %s", who, want, text)
		}
	}
}
