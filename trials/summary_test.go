package trials_test

import (
	"encoding/json"
	"reflect"
	"testing"
	"time"

	"heardiff/trials"
)

// kept is a journal in memory.
type kept struct{ entries []trials.Entry }

func (k *kept) Append(e trials.Entry) error { k.entries = append(k.entries, e); return nil }

// What a summary comes to, also after it was stored as JSON, is the revealed session but for its single trials.
func TestSummaryIsTheResultWithoutItsTrials(t *testing.T) {
	for _, design := range []trials.Design{trials.ABX, trials.SameDifferent} {
		p := trials.Plan{ID: "1", Design: design, Alpha: 0.05, SmallestEffect: 0.3, Comparisons: []trials.Comparison{
			{Name: "one", A: "left", B: "right", AudioA: "aa", AudioB: "bb", Trials: 9},
			{Name: "same", Kind: trials.NegativeControl, A: "left", B: "left", AudioA: "aa", AudioB: "aa", Trials: 5},
			{Name: "two", A: "left", B: "other", AudioA: "aa", AudioB: "cc", Trials: 7}}}
		j := &kept{}
		s, err := trials.Begin("s", p, trials.Seed{4, 2}, j, time.Now)
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; s.View().Phase != trials.Done; i++ {
			for _, l := range design.Labels() {
				s.Heard(l, 1)
			}
			if i == 3 {
				if err := s.Void("a lorry went by"); err != nil {
					t.Fatal(err)
				}
				continue
			}
			if err := s.Ask(design.Answers()[i%2], 0); err != nil {
				t.Fatal(err)
			}
			if err := s.Confirm(); err != nil {
				t.Fatal(err)
			}
		}
		want, err := trials.Reveal(p, j.entries)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0
		for _, one := range want.Trials {
			if one.Void == "" && one.Correct {
				sum++
			}
		}
		data, err := json.Marshal(want.Summary())
		if err != nil {
			t.Fatal(err)
		}
		var stored trials.Summary
		if err := json.Unmarshal(data, &stored); err != nil {
			t.Fatal(err)
		}
		got, err := stored.Result("s", p)
		if err != nil {
			t.Fatal(err)
		}
		for _, tally := range got.Tallies {
			sum -= tally.Correct
		}
		want.Trials, want.Begun, want.Ended = nil, want.Begun.UTC().Round(0), want.Ended.UTC().Round(0)
		if !reflect.DeepEqual(got, want) || sum != 0 || want.Voids != 1 {
			t.Errorf("%s: %d right too many\ngot  %+v\nwant %+v", design, sum, got, want)
		}
		p.Comparisons = p.Comparisons[:2]
		if _, err := stored.Result("s", p); err == nil {
			t.Errorf("%s: a summary of another plan was taken", design)
		}
	}
}
