package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/stats"
)

// tableFile writes lines into a file of its own and returns its path.
func tableFile(t *testing.T, lines ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "table.csv")
	must(t, os.WriteFile(path, []byte(strings.Join(lines, "\n")+"\n"), 0o644))
	return path
}

func TestPoolOfSeveralSitesAddsAMetaAnalysis(t *testing.T) {
	rows := []string{"listener,group,correct,trials,site", "L1,g,30,50,north", "L2,g,60,80,south", "L3,g,25,50,west"}
	var p struct {
		Meta struct {
			Sites []struct{ Site string }
			Q     float64
			REML  struct{ Weights []float64 }
		} `json:"meta_analysis"`
	}
	out := decode(t, &p, "pool", tableFile(t, rows...), "--json")
	if len(p.Meta.Sites) != 3 || len(p.Meta.REML.Weights) != 3 || !(p.Meta.Q > 0) {
		t.Errorf("%s", out)
	}
	text, _ := command(t, 0, "pool", tableFile(t, rows...))
	if !strings.Contains(text, "Hartung-Knapp") || !strings.Contains(text, "north") {
		t.Errorf("%s", text)
	}
	for i := range rows {
		rows[i] = rows[i][:strings.LastIndex(rows[i], ",")]
	}
	if out, _ = command(t, 0, "pool", tableFile(t, rows...), "--json"); !strings.Contains(out, `"meta_analysis":null`) {
		t.Errorf("without sites: %s", out)
	}
}

func TestTrapPoolTakesNoPercentages(t *testing.T) {
	for name, lines := range map[string][]string{
		"a proportion for a count": {"listener,group,proportion,trials", "L1,g,0.523,12645"},
		"a fraction of a count":    {"listener,group,correct,trials", "L1,g,6613.3,12645"},
		"a site without a name":    {"listener,group,site,correct,trials", "L1,g,,5,10"},
		"one listener, two sites":  {"listener,group,site,correct,trials", "L1,g,north,5,10", "L1,g,south,5,10"},
	} {
		if out, _ := command(t, 3, "pool", tableFile(t, lines...)); out != "" {
			t.Errorf("%s printed %s", name, out)
		}
	}
}

// A long table is pooled and laid out in seconds, and left when the program is told to stop.
func TestPoolingHeedsAnInterrupt(t *testing.T) {
	stopped, stop := context.WithCancel(context.Background())
	stop()
	var all []stats.Listener
	for i := range 20_000 {
		all = append(all, stats.Listener{Listener: fmt.Sprint(i), Group: fmt.Sprint(i % 2), Correct: 8, Trials: 16})
	}
	var out bytes.Buffer
	if err := (&app{stdout: &out, raw: &out}).poolListeners(stopped, all, stats.ScoreConfig{}); !errors.Is(err, context.Canceled) || out.Len() > 0 {
		t.Errorf("%d bytes, %v", out.Len(), err)
	}
}
