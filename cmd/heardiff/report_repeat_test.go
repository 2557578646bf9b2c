package main

import (
	"html"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"heardiff/measure"
	"heardiff/measure/jitter"
	"heardiff/stats/warning"
	"heardiff/trials/study"
)

// planHash is the hash of a plan of the current study, which covers all of the plan, its audio included.
func planHash(t *testing.T, id string) string {
	t.Helper()
	var shown struct{ Hash string }
	decode(t, &shown, "plan", "show", id, "--json")
	return shown.Hash
}

// The commands that a report prints make the same plans again of the same captures, to the hash.
func TestTheReportsCommandsRepeatTheStudy(t *testing.T) {
	first := listeningStudy(t, "abx", 12)
	command(t, 0, "plan", "new", "--design", "same-different", "--a", "left", "--b", "right", "--trials", "10", "--order", "balanced", "--layout", "blocked", "--practice", "2", "--positive", "3", "--negative", "8", "--rest", "7")
	command(t, 0, "plan", "new", "--id", "looks", "--design", "abx", "--a", "right", "--b", "left", "--trials", "30", "--stopping", "sequential", "--listeners", "3", "--comparisons", "4", "--least-seconds", "0", "--smallest-effect", "0.45")
	captures := filepath.Dir(first)
	repeatPlans(t, []string{"1", "2", "looks"}, func() {
		for _, chain := range []string{"left", "right"} {
			command(t, 0, "capture", "add", chain, filepath.Join(captures, chain+".wav"), "--as", "music")
		}
	})
}

// Ladders, and the threshold runs and tests over them, are made again, too: of every kind, two tracks in one run, a training, constant doses.
func TestTheReportsCommandsRepeatThresholdRuns(t *testing.T) {
	captures := filepath.Dir(oneChain(t))
	prepareSteps(t, "random-jitter", "--from", "1000", "--to", "100000", "--steps", "3", "--excerpt", "1:1", "--name", "e", "--jitter-band", "20:500", "--seed", "7")
	prepareSteps(t, "periodic-jitter", "--from", "1000", "--to", "123456.7", "--steps", "3", "--of", "e", "--jitter-hz", "300.5")
	prepareSteps(t, "noise", "--from", "-40", "--to", "-70", "--steps", "3", "--of", "e", "--noise", "pink")
	prepareSteps(t, "noise", "--from", "-40", "--to", "-70", "--steps", "3", "--excerpt", "3:1", "--name", "other", "--noise", "pink")
	prepareSteps(t, "gain", "--from", "-0.5", "--to", "-2", "--steps", "2", "--of", "e")
	command(t, 0, "plan", "new", "--id", "two", "--threshold", "random-jitter", "--threshold", "periodic-jitter", "--within", "2.5dB", "--negative", "3", "--design", "triangle")
	command(t, 0, "plan", "new", "--id", "stairs", "--threshold", "noise", "--excerpt", "other", "--procedure", "staircase", "--trials", "60", "--practice", "0", "--positive", "2")
	command(t, 0, "plan", "new", "--id", "training", "--threshold", "gain", "--training", "--trials", "20")
	command(t, 0, "plan", "new", "--id", "constant", "--ladder", "noise", "--excerpt", "e", "--design", "two-interval", "--trials", "6")
	repeatPlans(t, []string{"two", "stairs", "training", "constant"}, func() {
		command(t, 0, "capture", "add", "bus", filepath.Join(captures, "music.wav"), "--as", "music")
	})
}

// repeatPlans makes the current study again in an empty one, by the commands that its report prints and by capture, which adds its captures,
// and demands the same plans.
func repeatPlans(t *testing.T, ids []string, capture func()) {
	t.Helper()
	want := map[string]string{}
	for _, id := range ids {
		want[id] = planHash(t, id)
	}
	_, text := reported(t)
	pre := regexp.MustCompile(`(?s)<pre tabindex="0">(.*?)</pre>`).FindStringSubmatch(text)
	if pre == nil {
		t.Fatal("the report prints no commands")
	}
	emptyStudy(t)
	for line := range strings.Lines(html.UnescapeString(pre[1])) {
		words := shellWords(line)[1:]
		switch words[0] {
		case "chain", "prepare", "plan":
			command(t, 0, words...)
		case "capture":
			capture()
		}
	}
	for id, hash := range want {
		if got := planHash(t, id); got != hash {
			t.Errorf("plan %s: hash %s, was %s", id, got, hash)
		}
	}
}

// Warnings of captures are grouped by what they mean, and there by chain and kind; what has no meaning of its own comes last.
func TestWarningsOfCapturesAreGroupedByTheirMeaning(t *testing.T) {
	of := func(capture int, chain, kind string, code warning.Code, text string) study.CaptureWarning {
		return study.CaptureWarning{Capture: capture, Chain: chain, Kind: kind, Warning: warning.Warning{Code: code, Text: text}}
	}
	got := warnedOf([]study.CaptureWarning{of(3, "optical", "jitter", jitter.LockedClocks, "one"), of(4, "optical", "jitter", jitter.LockedClocks, "two"),
		of(5, "bus", "tone", "never-heard-of", "three"), of(6, "bus", "tone", measure.Clipped, "four"), of(7, "bus", "noise", "", "five")})
	if len(got) != 3 || !strings.HasPrefix(got[0].Means, "The recording was overdriven") || !strings.HasPrefix(got[1].Means, "Player and recorder") || got[2].Means != otherRemarks {
		t.Fatalf("%+v", got)
	}
	if w := got[1].Where; len(w) != 1 || w[0] != "optical (jitter), captures 3, 4" || len(got[1].InFull) != 2 {
		t.Errorf("%+v", got[1])
	}
	if w := got[2].Where; len(w) != 2 || w[0] != "bus (tone), capture 5" || w[1] != "bus (noise), capture 7" {
		t.Errorf("%+v", got[2])
	}
}
