package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/trials"
)

// The listener of this study always answers that X is A: sixteen equal answers in a row, one run.
func TestDiagnosticsChangeNoResult(t *testing.T) {
	dir := playedStudy(t, trials.Independent)
	var r struct {
		Sessions []struct {
			Comparisons []struct{ Trials int }
			Diagnostics *stats.Diagnostics
		}
	}
	inStudyFolder(t, dir, &r, "results")
	d := r.Sessions[0].Diagnostics
	if d == nil || d.Trials != 16 || d.Answers.Runs != 1 || d.Pattern.LongestSame != 16 || d.Bias.Second != 0 || d.Bias.P > 1e-4 {
		t.Errorf("the session that ended: %+v", d)
	}
	if r.Sessions[0].Comparisons[0].Trials != 16 {
		t.Errorf("a diagnostic took trials away: %+v", r.Sessions[0].Comparisons)
	}
	if r.Sessions[1].Diagnostics != nil {
		t.Error("a session that runs shows diagnostics")
	}
	for session, want := range map[string]bool{"whole": true, "begun": false} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), []string{"results", session, "--study", dir}, strings.NewReader(""), &out, &errs); code != 0 {
			t.Fatalf("exit %d: %s", code, errs.String())
		}
		for _, line := range []string{"Diagnostics of the 16 scored trials", "No trial is left out for them", "one answer was preferred: the second of the two was given in 0 of 16"} {
			if strings.Contains(out.String(), line) != want {
				t.Errorf("%s: %q in it is %v\n%s", session, line, !want, out.String())
			}
		}
	}
}
