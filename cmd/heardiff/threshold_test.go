package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/trials"
	"heardiff/trials/link"
)

// doseOracle answers one trial of two intervals by what reaches the device: the dose is what is not the clean excerpt.
func (s *sitting) doseOracle() {
	s.t.Helper()
	answer := "1"
	if first, second := s.hear("1"), s.hear("2"); first == "clean" {
		answer = "2"
		if second == "clean" {
			s.t.Fatal("both are clean")
		}
	}
	s.say("answer "+answer, "asked")
	s.say("confirm", "saved")
}

// A threshold run from plan to result, by a listener who reads what reaches the device: left after two trials and resumed, every
// answer right, and the staircase at the rung that follows.
func TestAThresholdRunFromPlanToResult(t *testing.T) {
	study := oneChain(t)
	made := prepareSteps(t, "noise", "--from", "-70", "--to", "-40", "--steps", "7", "--excerpt", "1:2", "--name", "e")
	command(t, 0, "listener", "add", "L1")
	planStaircase(t)
	begin := func(ready string) *sitting {
		s := sitDown(t, "listen", "--plan", "1", "--listener", "L1")
		s.chains["clean"] = loadWAV(t, filepath.Join(study, "audio", "excerpts", "e", "bus.wav"))
		for _, p := range made.Excerpts[0].Presentations {
			s.chains[p.Path] = loadWAV(t, filepath.Join(study, p.Path))
		}
		if line := s.line(); !strings.HasPrefix(line, ready) {
			t.Fatal(line)
		}
		return s
	}
	s := begin("ready 1 of 6: Which one is B, 1 or 2? B is the one with something put in; this one is practice")
	for range 2 {
		s.doseOracle()
		s.line()
	}
	s.say("quit", "stopped")
	if code := <-s.ended; code != 0 {
		t.Fatalf("exit %d", code)
	}
	s = begin("ready 3 of 6")
	for range 3 {
		s.doseOracle()
		s.line()
	}
	s.doseOracle()
	s.end()
	checkStaircase(t)
	checkThresholdPage(t)
}

// planStaircase makes the plan of a staircase of five trials over the seven rungs.
func planStaircase(t *testing.T) {
	t.Helper()
	var plan trials.Plan
	out := decode(t, &plan, "plan", "new", "--threshold", "noise", "--within", "2dB", "--procedure", "staircase", "--trials", "5", "--practice", "1", "--positive", "0", "--json")
	if run := plan.Threshold; run == nil || run.WithinDB != 2 || len(run.Tracks) != 1 || len(run.Tracks[0].Rungs) != 7 || plan.Design != trials.TwoInterval ||
		run.Tracks[0].Rungs[0].Dose != -70 || run.Tracks[0].Rungs[6].LevelDB != -40 || run.Steps[0] != 2 {
		t.Fatalf("%s", out)
	}
}

// checkStaircase demands that every answer was right, and three trials of the plain dose, then two of the rung that is 10 dB lower.
func checkStaircase(t *testing.T) {
	t.Helper()
	var r struct {
		Sessions []struct {
			Comparisons []trials.Tally
			Thresholds  []link.SessionThreshold
		}
		Thresholds []json.RawMessage
	}
	out := decode(t, &r, "results", "--json")
	counts := map[string]int{}
	for _, c := range r.Sessions[0].Comparisons {
		if c.Comparison.Kind == trials.Graded && c.Trials > 0 {
			counts[c.Comparison.Name] = c.Trials
		}
		if c.Correct != c.Trials {
			t.Errorf("%s: %d of %d", c.Comparison.Name, c.Correct, c.Trials)
		}
	}
	if counts["bus + -40 dBFS white noise"] != 3 || counts["bus + -50 dBFS white noise"] != 2 {
		t.Errorf("the staircase asked %v", counts)
	}
	if len(r.Sessions[0].Thresholds) != 1 || len(r.Thresholds) != 1 {
		t.Errorf("no thresholds in %s", out)
	}
	for _, args := range [][]string{{"results"}, {"link"}, {"plan", "show", "1"}, {"verify"}} {
		if text, _ := command(t, 0, args...); strings.Contains(text, "NaN") {
			t.Errorf("%v: %s", args, text)
		}
	}
}

// checkThresholdPage demands that the report has the thresholds, and that its page deals the run again in its own script.
func checkThresholdPage(t *testing.T) {
	t.Helper()
	page, html := reported(t)
	if !strings.Contains(html, `id="thresholds"`) {
		t.Error("no thresholds in the report")
	}
	command(t, 0, "verify", page)
	if faults := pressCheck(t, browser(t), page, string(html)); len(faults) > 0 {
		t.Errorf("the page finds %q", faults)
	}
}

// A run that ends at the precision asked for ends there by verify and by the page's own script, too. The page says how the doses were placed.
func TestAThresholdRunThatEndsAtItsPrecisionIsDealtAgain(t *testing.T) {
	oneChain(t)
	prepareSteps(t, "noise", "--from", "-80", "--to", "-20", "--steps", "13", "--excerpt", "1:1", "--name", "e")
	command(t, 0, "listener", "add", "L1")
	command(t, 0, "plan", "new", "--threshold", "noise", "--within", "6dB", "--trials", "200", "--practice", "0", "--positive", "0")
	sitThrough(t, "1", "L1", climbing(t, 1, map[string]float64{"noise": -50}))
	var linked struct{ Thresholds []link.Threshold }
	decode(t, &linked, "link", "--json")
	if own := linked.Thresholds[0]; own.Trials < 30 || own.Trials == 200 || (own.IntervalDB[1]-own.IntervalDB[0])/2 > 6 {
		t.Errorf("%d trials, %v", own.Trials, own.IntervalDB)
	}
	command(t, 0, "verify")
	page, html := reported(t)
	if !strings.Contains(html, "one trial in 10, drawn by lot, is at the largest dose") {
		t.Error("the report does not say that some doses are plain")
	}
	if faults := pressCheck(t, browser(t), page, html); len(faults) > 0 {
		t.Errorf("the page finds %q", faults)
	}
}

func TestThresholdPlansThatAreRefused(t *testing.T) {
	oneChain(t)
	prepareSteps(t, "random-jitter", "--from", "1000", "--to", "1e6", "--steps", "13", "--excerpt", "1:2")
	prepareSteps(t, "periodic-jitter", "--from", "1000", "--to", "1e6", "--steps", "13", "--jitter-hz", "3000")
	for _, c := range []struct {
		args []string
		exit int
		says string
	}{
		{[]string{"--threshold", "noise"}, 3, "no ladder"},
		{[]string{"--threshold", "random-jitter", "--within", "2 ps"}, 2, "--within"},
		{[]string{"--threshold", "random-jitter", "--within", "0dB"}, 2, "--within"},
		{[]string{"--threshold", "random-jitter", "--within", "61dB"}, 2, "--within"},
		{[]string{"--threshold", "random-jitter", "--procedure", "guess"}, 2, "staircase"},
		{[]string{"--threshold", "random-jitter", "--b", "bus"}, 2, "--b"},
		{[]string{"--threshold", "random-jitter", "--order", "balanced"}, 2, "--order"},
		{[]string{"--threshold", "random-jitter", "--threshold", "random-jitter"}, 2, "already"},
		{[]string{"--within", "2dB", "--a", "bus", "--b", "bus", "--trials", "3"}, 2, "--threshold"},
		{[]string{"--training", "--a", "bus", "--b", "bus", "--trials", "3"}, 2, "--threshold"},
	} {
		_, errs := command(t, c.exit, append([]string{"plan", "new"}, c.args...)...)
		if !strings.Contains(errs, c.says) || strings.Count(errs, "\n") > 2 {
			t.Errorf("%v: %q does not say %q", c.args, errs, c.says)
		}
	}
	out, _ := command(t, 0, "plan", "new", "--threshold", "random-jitter", "--threshold", "periodic-jitter", "--within", "2dB", "--negative", "3", "--design", "triangle")
	for _, want := range []string{"threshold run, triangle, doses placed by bayes", "random jitter, 10 to 20000 Hz", "periodic jitter at 3000 Hz", "±2 dB", "one trial in 10 of each ladder", "8 trials of positive control", "3 trials of negative control"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
	if strings.Contains(out, "e+0") {
		t.Errorf("doses in powers of ten:\n%s", out)
	}
	command(t, 0, "plan", "new", "--threshold", "random-jitter", "--training")
}

// A published threshold is printed once, in the words of its citation.
func TestPublishedThresholdsAreCited(t *testing.T) {
	var out strings.Builder
	all := link.PublishedThresholds()
	againstText(&out, link.Result{Published: all})
	for _, p := range all {
		if !strings.Contains(out.String(), "\n  "+p.Citation+"\n") {
			t.Errorf("%q is not a line of\n%s", p.Citation, out.String())
		}
	}
}
