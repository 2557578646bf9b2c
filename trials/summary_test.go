package trials

import (
	"encoding/json"
	"reflect"
	"testing"
)

// mixedPlan holds two comparisons and a control.
func mixedPlan(d Design) Plan {
	p := testPlan(d, 9)
	p.Comparisons = append(p.Comparisons,
		Comparison{Name: "same", Kind: NegativeControl, A: "left", B: "left", AudioA: "aa", AudioB: "aa", Trials: 5},
		Comparison{Name: "two", A: "left", B: "other", AudioA: "aa", AudioB: "cc", Trials: 7})
	return p
}

// played runs a session of a plan with both answers in turn, the fourth trial void, and returns its result.
func played(t *testing.T, p Plan) Result {
	t.Helper()
	s, m := begin(t, p, Seed{4, 2})
	for i := 0; s.View().Phase != Done; i++ {
		hearAll(s)
		if i == 3 {
			must(t, s.Void("a lorry went by"))
			continue
		}
		must(t, s.Ask(p.Design.Answers()[i%2], 0))
		must(t, s.Confirm())
	}
	r, err := Reveal(p, m.entries)
	must(t, err)
	return r
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// The result of a summary, even after it was stored as JSON, is the revealed result except for its single trials.
func TestSummaryIsTheResultWithoutItsTrials(t *testing.T) {
	for _, design := range []Design{ABX, SameDifferent} {
		p := mixedPlan(design)
		want := played(t, p)
		right := 0
		for _, one := range want.Trials {
			if one.Void == "" && one.Correct {
				right++
			}
		}
		data, err := json.Marshal(want.Summary())
		must(t, err)
		var stored Summary
		must(t, json.Unmarshal(data, &stored))
		got, err := stored.Result("s1", p)
		must(t, err)
		sum := 0
		for _, tally := range got.Tallies {
			sum += tally.Correct
		}
		want.Trials, want.Begun, want.Ended = nil, want.Begun.UTC(), want.Ended.UTC()
		if !reflect.DeepEqual(got, want) || sum != right || want.Voids != 1 {
			t.Errorf("%s: %d right, want %d\ngot  %+v\nwant %+v", design, sum, right, got, want)
		}
		p.Comparisons = p.Comparisons[:2]
		if _, err := stored.Result("s1", p); err == nil {
			t.Errorf("%s: a summary of another plan was taken", design)
		}
	}
}
