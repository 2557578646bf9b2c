package main

import (
	"context"
	"encoding/json"
	"math"
	"path/filepath"
	"testing"

	"heardiff/trials/link"
	"heardiff/trials/study"
)

// linkIn returns what "link" finds in a study.
func linkIn(t *testing.T, folder string) study.Linked {
	t.Helper()
	s := openIn(t, folder)
	defer s.Close()
	l, err := s.Link(context.Background())
	must(t, err)
	return l
}

// figuresIn returns a chain's figures as "link" reads them, and whether two chains deliver every word.
func figuresIn(t *testing.T, folder, chain, a, b string) (map[link.Metric][]link.Figure, *bool) {
	t.Helper()
	l := linkIn(t, folder)
	for _, c := range l.Input.Chains {
		if c.Name == chain {
			return c.Figures, l.Delivered(a, b)
		}
	}
	t.Fatalf("no chain %q", chain)
	return nil, nil
}

func TestIntegrityCapturesReachTheLink(t *testing.T) {
	dir, study := emptyStudy(t)
	sent := filepath.Join(dir, "sent.wav")
	command(t, 0, "signal", "integrity", "--seconds", "2", "--out", sent)
	words := audioOf(t, sent)
	for i, name := range []string{"whole", "also", "spoilt"} {
		command(t, 0, "chain", "add", name)
		clip := words.Slice(100*i, words.Len()).Clone()
		if name == "spoilt" {
			clip.Channels[0][50_000] = 0.25
		}
		saveWords(t, filepath.Join(dir, name+".wav"), clip)
	}
	add := func(exit int, name string, more ...string) string {
		out, _ := command(t, exit, append([]string{"capture", "add", name, filepath.Join(dir, name+".wav"), "--json"}, more...)...)
		return out
	}
	add(exitUsage, "whole", "--as", "integrity")
	add(exitUsage, "whole", "--as", "tone", "--sent", sent)
	if _, known := figuresIn(t, study, "whole", "whole", "also"); known != nil {
		t.Errorf("nothing was sent, yet it was delivered: %v", *known)
	}
	for _, name := range []string{"whole", "also", "spoilt"} {
		out := add(0, name, "--as", "integrity", "--sent", sent)
		var r struct {
			Captures []struct {
				Integrity struct {
					BitPerfect bool `json:"bit_perfect"`
				} `json:"integrity"`
			} `json:"captures"`
		}
		must(t, json.Unmarshal([]byte(out), &r))
		if r.Captures[0].Integrity.BitPerfect != (name != "spoilt") {
			t.Errorf("%s: %s", name, out)
		}
	}
	command(t, 0, "measure", "--again") // leaves integrity with the file that it was given
	for b, want := range map[string]bool{"also": true, "spoilt": false} {
		if _, got := figuresIn(t, study, "whole", "whole", b); got == nil || *got != want {
			t.Errorf("whole and %s: delivered %v, want %v", b, got, want)
		}
	}
	// A later capture that is whole does not mend an earlier one that was not.
	saveWords(t, filepath.Join(dir, "spoilt.wav"), words.Slice(300, words.Len()))
	add(0, "spoilt", "--as", "integrity", "--sent", sent)
	if _, got := figuresIn(t, study, "whole", "whole", "spoilt"); got == nil || *got {
		t.Errorf("one of two captures was spoilt: delivered %v", got)
	}
}

// Two tones and sweeps of both chains are in the link, with the figures that were entered for one of them.
func TestTwoTonesAndSweepsReachTheLink(t *testing.T) {
	dir, study := emptyStudy(t)
	command(t, 0, "chain", "add", "box")
	for kind, seconds := range map[string]string{"two-tone": "4", "sweep": "10"} {
		sent := filepath.Join(dir, kind+".wav")
		command(t, 0, "signal", kind, "--seconds", seconds, "--channels", "1", "--out", sent)
		command(t, 0, "capture", "add", "box", spoiled(t, sent, filepath.Join(dir, kind+"-box.wav"), 1e-5, 1e-2), "--as", kind)
	}
	command(t, 0, "measure")
	figures, _ := figuresIn(t, study, "box", "box", "box")
	for _, metric := range []link.Metric{link.IMD, link.SecondHarmonic} {
		if f := figures[metric]; len(f) != 1 || math.IsNaN(f[0].Value) {
			t.Errorf("%s: %+v", metric, f)
		}
	}
	// A square term alone makes no third harmonic: it is at its own limit.
	if f := figures[link.ThirdHarmonic]; len(f) != 1 || !math.IsNaN(f[0].Value) || math.IsNaN(f[0].Limit) {
		t.Errorf("third harmonic: %+v", f)
	}
}
