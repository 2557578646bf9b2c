package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"heardiff/cmd/heardiff/internal/demo"
	"heardiff/playback/wav"
	"heardiff/trials/link"
)

// drawnDemonstration runs the demonstration's design (its chains, plans and groups) on a short piece of music, with listeners whose
// thresholds are drawn from those that hear everything to those that hear nothing.
func drawnDemonstration(t *testing.T, random *rand.Rand) {
	t.Helper()
	dir := t.TempDir()
	at(t, dir, "study")
	d := &demonstration{dir: filepath.Join(dir, "study"), seed: random.Uint64(),
		app: &app{stdout: &bytes.Buffer{}, stderr: &bytes.Buffer{}, now: time.Now, getenv: os.Getenv}}
	for _, l := range demoListeners {
		l.threshold = -80 + 80*random.Float64()
		d.ears = append(d.ears, l)
	}
	ctx := context.Background()
	must(t, d.study(ctx))
	sent := music(3)
	for i, c := range demo.Bench() {
		if c.Role != "source" {
			continue
		}
		file := filepath.Join(dir, c.Name+".wav")
		clip, err := demo.Record(t.Context(), c, sent, uint64(i))
		must(t, err)
		must(t, wav.Save(file, clip, ""))
		command(t, 0, "capture", "add", c.Name, file, "--as", "music", "--music", "round")
	}
	command(t, 0, "prepare", "--music", "round", "--excerpt", "1:1")
	must(t, d.listen(ctx))
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
	out, _ := command(t, 0, "link", "--json")
	var linked struct{ Family link.FamilySummary }
	must(t, json.Unmarshal([]byte(out), &linked))
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
