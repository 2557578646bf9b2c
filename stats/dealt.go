package stats

import (
	"fmt"
	"math"
)

// Division is one way in which trials of two kinds can be dealt, for which Fisher's exact test allows: how many are of the
// kind called different (or where X is B), and how likely that is.
type Division struct {
	Different int
	Chance    float64
}

// mostDivided is the number of trials up to which every division is counted; beyond, about 32 of them, spread evenly, stand
// for all, which leaves the power within 0.0006 of the sum over all (seen from 301 to 1000 trials).
const mostDivided, fewDivisions = 300, 32

// CoinDivisions returns the divisions of n trials whose kinds a fair coin draws: those that come up at all, 2·10⁻¹² left
// out.
func CoinDivisions(n int) []Division {
	lo := firstCount(0, n, func(k int) bool { return lnBinomialLower(k, n, 0.5) > -27.6 })
	step := 1
	if n > mostDivided {
		step = (n-2*lo)/fewDivisions + 1
	}
	var all []Division
	sum := 0.0
	for k := lo; k <= n-lo; k += step {
		all = append(all, Division{k, math.Exp(lnBinomialPoint(k, n, 0.5))})
		sum += all[len(all)-1].Chance
	}
	for i := range all {
		all[i].Chance /= sum
	}
	return all
}

// RoundDivisions returns the divisions of n trials dealt in whole rounds of an even number of assignments, half of them
// different, and for the rest a part of one more round, drawn without putting back.
func RoundDivisions(n, assignments int) []Division {
	rest, half := n%assignments, assignments/2
	drawn := hypergeometric{nd: half, ns: half, m: rest}
	lo, hi := drawn.bounds()
	var all []Division
	for k := lo; k <= hi; k++ {
		all = append(all, Division{n/assignments*half + k, math.Exp(drawn.ln(k))})
	}
	return all
}

// DividedPower returns the exact power of Fisher's test of hits against false alarms at risk α, over the divisions of n
// trials, of a listener who is right with probability p on either kind: one who leans towards neither answer. A listener
// who leans is found less often. Critical is the count of right answers that decides where either kind and either answer
// make up half, nil where none does: other divisions and answers have other counts. Size is the power of a guesser.
// It is an error if n, p or α is out of range.
func DividedPower(n int, divisions []Division, p, alpha float64) (Power, error) {
	if err := checkPlan(0.5, p, alpha); err != nil {
		return Power{}, err
	}
	if n < 1 || n > MaxTrials {
		return Power{}, fmt.Errorf("stats: %d trials: 1 to %d can be planned", n, MaxTrials)
	}
	powers := DividedPowers(divisions, n, alpha, p, 0.5)
	return Power{Trials: n, Critical: evenCritical(n, alpha), Power: powers[0], Size: powers[1]}, nil
}

// DividedPowers returns DividedPower at each of several p: hardly slower than at one.
func DividedPowers(divisions []Division, n int, alpha float64, p ...float64) []float64 {
	powers := make([]float64, len(p))
	for _, d := range divisions {
		for i, power := range fisherPowers(d.Different, n-d.Different, alpha, p) {
			powers[i] += d.Chance * power
		}
	}
	return powers
}

// evenCritical returns the count that decides where half of n trials differ and half are said to; of an odd n, the half
// below.
func evenCritical(n int, alpha float64) *int {
	nd := n / 2
	h := hypergeometric{nd: nd, ns: n - nd, m: nd}
	for hits := 0; hits <= nd; hits++ {
		if h.rejects(hits, alpha) {
			k := 2*hits + h.ns - h.m
			return &k
		}
	}
	return nil
}

// rejects reports whether Fisher's test at risk α rejects at so many hits.
func (h hypergeometric) rejects(hits int, alpha float64) bool {
	return h.lnUpper(hits) <= math.Log(alpha)+reachSlack
}

// fisherPowers sums over the false alarms; the hits that then reject grow with them.
func fisherPowers(nd, ns int, alpha float64, p []float64) []float64 {
	const negligible = -30 // ln of a chance that adds nothing
	powers := make([]float64, len(p))
	if nd == 0 || ns == 0 {
		return powers
	}
	hits := 0
	for f := 0; f <= ns; f++ {
		for hits <= nd && !(hypergeometric{nd: nd, ns: ns, m: hits + f}).rejects(hits, alpha) {
			hits++
		}
		if hits > nd {
			break
		}
		for i, p := range p {
			if at := lnBinomialPoint(f, ns, 1-p); at > negligible {
				powers[i] += math.Exp(at + lnBinomialUpper(hits, nd, p))
			}
		}
	}
	return powers
}

// mostDividedPlan is the largest plan that DividedTrialsFor looks at.
const mostDividedPlan = 5000

// DividedTrialsFor returns the smallest of the plans, of as many trials as the exact binomial test needs or more, whose
// DividedPower against p reaches power and keeps it over the next round of four trials. divisions deals a number of
// trials. It returns ErrOutOfReach where p is no better than chance or 5000 trials do not suffice.
func DividedTrialsFor(divisions func(n int) []Division, p, alpha, power float64) (Power, error) {
	plain, err := TrialsFor(0.5, p, alpha, power)
	if err != nil {
		return Power{}, err
	}
	const round = 4
	var found Power
	held := 0
	for n := plain.Trials; n <= mostDividedPlan; n++ {
		at, err := DividedPower(n, divisions(n), p, alpha)
		if err != nil {
			return Power{}, err
		}
		if at.Power < power {
			held = 0
			continue
		}
		if held == 0 {
			found = at
		}
		if held++; held > round {
			return found, nil
		}
	}
	return Power{}, fmt.Errorf("%w: power %v needs more than %d trials", ErrOutOfReach, power, mostDividedPlan)
}
