package study

import (
	"testing"

	"heardiff/trials"
)

func TestDiagnosticsLeaveOutPracticeControlsAndVoidTrials(t *testing.T) {
	plan := trials.Plan{Design: trials.SameDifferent}
	result := trials.Result{Plan: plan}
	for _, k := range []trials.Kind{trials.Scored, trials.Practice, trials.PositiveControl, trials.NegativeControl} {
		result.Trials = append(result.Trials, trials.TrialResult{Kind: k, Answer: trials.AnswerDifferent, Correct: true})
	}
	result.Trials = append(result.Trials, trials.TrialResult{Kind: trials.Scored, Void: "a door"})
	var s SessionReport
	must(t, s.diagnose(result))
	if s.Diagnostics.Trials != 1 || s.Diagnostics.Bias.Second != 1 {
		t.Errorf("%+v", s.Diagnostics)
	}
}
