package stats

import "math"

// Guesses is a number of trials in which a guesser is right with the given chance.
type Guesses struct {
	Trials int
	Chance float64
}

// AddGuesses returns all with more added to the trials of the same chance. It does not change all.
func AddGuesses(all []Guesses, more Guesses) []Guesses {
	sum := make([]Guesses, 0, len(all)+1)
	for _, g := range all {
		if g.Chance == more.Chance {
			g.Trials, more.Trials = g.Trials+more.Trials, 0
		}
		sum = append(sum, g)
	}
	if more.Trials > 0 {
		sum = append(sum, more)
	}
	return sum
}

// GuessesReach reports whether k or more right answers over all the trials have probability at most alpha by guessing:
// the exact test of a sum of binomials with different chances, which is that of CriticalCount where there is one chance.
func GuessesReach(k int, all []Guesses, alpha float64) bool {
	if len(all) == 1 {
		critical, _, ok := CriticalCount(all[0].Trials, all[0].Chance, alpha)
		return ok && k >= critical
	}
	right := []float64{1} // right[i] is the chance of i right answers
	for _, g := range all {
		next := make([]float64, len(right)+g.Trials)
		for i := range g.Trials + 1 {
			p := math.Exp(lnBinomialPoint(i, g.Trials, g.Chance))
			for j, q := range right {
				next[i+j] += p * q
			}
		}
		right = next
	}
	tail := 0.0
	for i := len(right) - 1; i >= max(k, 0); i-- {
		tail += right[i]
	}
	return tail <= alpha*(1+reachSlack)
}
