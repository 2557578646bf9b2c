package study

import (
	"math"
	"testing"

	"heardiff/trials"
)

func rated(design trials.Design, each ...trials.TrialResult) trials.Result {
	r := trials.Result{Plan: trials.Plan{Design: design}}
	for _, t := range each {
		t.Comparison, t.Correct = "one", t.Truth == t.Answer
		r.Trials = append(r.Trials, t)
	}
	return r
}

// By hand: with duplicate pairs, the ratings of the same pairs are −3 and 1, those of the different ones 2 and 1. Of the four combinations
// three are won and one is tied: 3.5/4. In ABX, confidence 4 and 2 go with right answers, 2 with a wrong one: 1.5/2. An answer without
// confidence, a void trial and another comparison do not count.
func TestConfidenceTellsTrialsApart(t *testing.T) {
	const s, d, a, b = trials.AnswerSame, trials.AnswerDifferent, trials.AnswerA, trials.AnswerB
	other := trials.TrialResult{Comparison: "two", Truth: s, Answer: d, Confidence: 4}
	for _, c := range []struct {
		name    string
		result  trials.Result
		kind    int
		area    float64
		unrated int
	}{
		{"duplicate pair", rated(trials.SameDifferent,
			trials.TrialResult{Truth: s, Answer: s, Confidence: 3}, trials.TrialResult{Truth: s, Answer: d, Confidence: 1},
			trials.TrialResult{Truth: d, Answer: d, Confidence: 2}, trials.TrialResult{Truth: d, Answer: d, Confidence: 1},
			trials.TrialResult{Truth: d, Answer: s}, trials.TrialResult{Truth: d, Void: "a door"}), 1, 3.5 / 4, 1},
		{"ABX", rated(trials.ABX,
			trials.TrialResult{Truth: a, Answer: a, Confidence: 4}, trials.TrialResult{Truth: b, Answer: b, Confidence: 2},
			trials.TrialResult{Truth: b, Answer: a, Confidence: 2}), 2, 1.5 / 2, 0},
	} {
		c.result.Trials = append(c.result.Trials, other)
		r, err := rateConfidence(c.result, "one")
		must(t, err)
		if r == nil || r.Type != c.kind || math.Abs(r.Area-c.area) > 1e-12 || r.Unrated != c.unrated {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
	none, err := rateConfidence(rated(trials.ABX, trials.TrialResult{Truth: a, Answer: a}), "one")
	if none != nil || err != nil {
		t.Errorf("without confidence: %+v, %v", none, err)
	}
}
