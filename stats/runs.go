package stats

import "math"

// Runs tests whether two kinds of outcome follow one another at random, given the number of each: few runs mean that equal
// outcomes cluster, many that they alternate.
type Runs struct {
	First    int     `json:"first"`  // outcomes that are false
	Second   int     `json:"second"` // outcomes that are true
	Runs     int     `json:"runs"`
	Expected float64 `json:"expected_runs"`
	PFew     float64 `json:"p_few"`   // at most as many runs by chance
	PMany    float64 `json:"p_many"`  // at least as many
	P        float64 `json:"p_value"` // two-sided: twice the smaller of the two, at most 1
}

// TestRuns returns the exact test of Wald and Wolfowitz for any number of outcomes. With none, or all of one kind, there is
// only one order and the probabilities are NaN.
//
//	P(R = 2k)     = 2·C(n₁−1, k−1)·C(n₂−1, k−1) / C(n₁+n₂, n₁)
//	P(R = 2k + 1) = [C(n₁−1, k)·C(n₂−1, k−1) + C(n₁−1, k−1)·C(n₂−1, k)] / C(n₁+n₂, n₁)
//
// ref: Wald & Wolfowitz (1940); Swed & Eisenhart (1943).
func TestRuns(outcomes []bool) Runs {
	nan := math.NaN()
	r := Runs{Expected: nan, PFew: nan, PMany: nan, P: nan}
	for i, o := range outcomes {
		if o {
			r.Second++
		}
		if i == 0 || o != outcomes[i-1] {
			r.Runs++
		}
	}
	r.First = len(outcomes) - r.Second
	if r.First == 0 || r.Second == 0 {
		return r
	}
	n1, n2 := float64(r.First), float64(r.Second)
	r.Expected = 1 + 2*n1*n2/(n1+n2)
	few, many := math.Inf(-1), math.Inf(-1)
	for runs := 2; runs <= 2*min(r.First, r.Second)+1; runs++ {
		ln := lnRuns(runs, r.First, r.Second)
		if runs <= r.Runs {
			few = lnAdd(few, ln)
		}
		if runs >= r.Runs {
			many = lnAdd(many, ln)
		}
	}
	r.PFew, r.PMany = math.Min(1, math.Exp(few)), math.Min(1, math.Exp(many))
	r.P = math.Min(1, 2*math.Min(r.PFew, r.PMany))
	return r
}

// lnRuns returns ln P(R = runs) for n1 outcomes of one kind and n2 of the other, both above zero.
func lnRuns(runs, n1, n2 int) float64 {
	k := runs / 2
	all := lnChoose(n1+n2, n1)
	if runs%2 == 0 {
		return math.Ln2 + lnChooseOrNone(n1-1, k-1) + lnChooseOrNone(n2-1, k-1) - all
	}
	return lnAdd(lnChooseOrNone(n1-1, k)+lnChooseOrNone(n2-1, k-1), lnChooseOrNone(n1-1, k-1)+lnChooseOrNone(n2-1, k)) - all
}

// lnChooseOrNone returns ln C(n, k), −∞ where k lies outside 0 to n.
func lnChooseOrNone(n, k int) float64 {
	switch {
	case k < 0 || k > n:
		return math.Inf(-1)
	case k == 0 || k == n:
		return 0
	}
	return lnChoose(n, k)
}

// LongestRun returns the length of the longest run of equal outcomes, and the exact probability that as many tosses of a
// fair coin contain one at least as long. The probability is 1 for no outcomes.
//
// The run of a fair coin is extended with probability 1/2 at each toss; what reaches the length is absorbed.
func LongestRun(outcomes []bool) (length int, p float64) {
	run := 0
	for i, o := range outcomes {
		if run++; i > 0 && o != outcomes[i-1] {
			run = 1
		}
		length = max(length, run)
	}
	return length, longestRunTail(length, len(outcomes))
}

// longestRunTail returns the probability that n tosses contain a run of the length or longer.
func longestRunTail(length, n int) float64 {
	if length <= 1 {
		return 1
	}
	at := make([]float64, length) // at[j]: no such run yet, and j + 1 equal tosses at the end
	at[0] = 1
	reached := 0.0
	for range n - 1 {
		reached += at[length-2] / 2
		fresh := 0.0
		for j := length - 2; j >= 0; j-- {
			fresh += at[j] / 2
			if j > 0 {
				at[j] = at[j-1] / 2
			}
		}
		at[0] = fresh
	}
	return reached
}
