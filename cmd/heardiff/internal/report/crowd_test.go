package report

import (
	"math"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/trials/link"
)

// invented returns listeners with so many of 20 right each.
func invented(correct ...int) []link.Row {
	var rows []link.Row
	for _, k := range correct {
		r := link.Row{Kind: "listener", Verdict: link.Undecided, Score: stats.Score{Correct: k, Trials: 20, Chance: 0.5, Alpha: 0.05}}
		b, err := stats.BinomialTest(k, 20, 0.5)
		if err != nil {
			panic(err)
		}
		r.Log10P = b.Log10P
		rows = append(rows, r)
	}
	return rows
}

// Every listener falls into the bin of their count, and the guessers drawn with them are as many. Of 1000 guessers at 20
// trials 20.7 reach p ≤ 0.05: P(X ≥ 15) = 21700/2²⁰.
func TestCrowdIsSetAgainstAsManyGuessers(t *testing.T) {
	var counts []int
	for i := range 1000 {
		counts = append(counts, i%21)
	}
	c := crowd("a title", invented(counts...))
	observed, guessing := 0, 0.0
	for i, b := range c.Bins {
		if want := 47 + map[bool]int{true: 1}[i < 13]; b.Observed != want {
			t.Errorf("bin %d, %g to %g: %d listeners, want %d", i, b.Lo, b.Hi, b.Observed, want)
		}
		observed += b.Observed
		guessing += b.Guessing
	}
	if observed != 1000 || math.Abs(guessing-1000) > 1e-6 || len(c.Bins) != 21 {
		t.Errorf("%d listeners, %g guessers in %d bins", observed, guessing, len(c.Bins))
	}
	if want := "1000 listeners; each by themselves, 282 reach p ≤ 0.05: of as many guessers 21 would"; !strings.HasPrefix(c.Notes[0], want) {
		t.Errorf("%q, want %q…", c.Notes[0], want)
	}
}

func TestPageShowsTheSmallestPOfTooManyListeners(t *testing.T) {
	var counts []int
	for i := range maxRows + 100 {
		counts = append(counts, i%20)
	}
	rows := append(invented(counts...), link.Row{Kind: "all"})
	some, left := shown(rows)
	if len(left) != 100 || len(some) != maxRows+1 || some[0].Kind != "all" || some[1].Correct != 19 {
		t.Errorf("%d rows, %d left out, first %+v", len(some), len(left), some[0])
	}
}
