package stats_test

import (
	"testing"

	"heardiff/stats"
)

// Two trials at chance 1/2 and two at 1/3: 3 or more of 4 right with probability 1/4·5/9 + 1/2·1/9 = 7/36, all four with
// 1/36.
func TestGuessesOfSeveralChances(t *testing.T) {
	all := stats.AddGuesses(stats.AddGuesses(nil, stats.Guesses{Trials: 1, Chance: 0.5}), stats.Guesses{Trials: 2, Chance: 1.0 / 3})
	all = stats.AddGuesses(all, stats.Guesses{Trials: 1, Chance: 0.5})
	for _, c := range []struct {
		k     int
		alpha float64
		want  bool
	}{{3, 7.0 / 36, true}, {3, 6.99 / 36, false}, {4, 1.0 / 36, true}, {4, 0.99 / 36, false}, {5, 1e-9, true}, {0, 1, true}} {
		if got := stats.GuessesReach(c.k, all, c.alpha); got != c.want {
			t.Errorf("%d of %v at %v: %v", c.k, all, c.alpha, got)
		}
	}
	// A single chance: 7 of 7 at 1/2 is 1/128.
	if one := []stats.Guesses{{Trials: 7, Chance: 0.5}}; !stats.GuessesReach(7, one, 0.01) || stats.GuessesReach(6, one, 0.01) {
		t.Error("7 of 7 must reach 0.01, 6 of 7 must not")
	}
}
