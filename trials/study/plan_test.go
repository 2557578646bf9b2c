package study

import (
	"strings"
	"testing"

	"heardiff/trials"
)

// Six negative controls are all right by chance once in 64 times, more often than the 0.01 at which they count as passed; seven once in 128.
// In a triangle four are so once in 81 times, five once in 243.
func TestControlsThatCanNeverTripAreWarnedOf(t *testing.T) {
	for _, c := range []struct {
		design trials.Design
		n      int
		warned bool
	}{
		{trials.ABX, 6, true}, {trials.ABX, 7, false}, {trials.Triangle, 4, true}, {trials.Triangle, 5, false}, {trials.ABX, 0, false},
	} {
		p := trials.Plan{ID: "1", Design: c.design, Alpha: 0.05, SmallestEffect: 0.3, Comparisons: []trials.Comparison{
			{Name: "one", A: "plain", B: "long", AudioA: "1", AudioB: "2", Trials: 16}}}
		if c.n > 0 {
			p.Comparisons = append(p.Comparisons, trials.Comparison{Name: "same", Kind: trials.NegativeControl, AudioA: "1", AudioB: "1", Trials: c.n})
		}
		said := ""
		(&Host{Warn: func(p Phrase) { said = p.String() }}).warnOfControls(p)
		if got := strings.Contains(said, "never show a leak"); got != c.warned {
			t.Errorf("%s, %d negative controls: said %q", c.design, c.n, said)
		}
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
