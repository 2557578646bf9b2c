package stats

import (
	"fmt"
	"math"
)

// Split is one way in which the trials of a deal can fall into two kinds, on which Fisher's exact test conditions: how many
// are different pairs (or have X = B), and the probability of that number.
type Split struct {
	Different int
	Chance    float64
}

// maxEnumerated is the number of trials up to which every split is summed. Beyond it about 32 evenly spaced splits
// represent all, which keeps the power within 0.0006 of the sum over all (checked from 301 to 1000 trials).
const maxEnumerated, sampledSplits = 300, 32

// lnDropped is the logarithm of the tail, 10⁻¹², that is left out on either side of the splits by a coin.
const lnDropped = -27.6

// CoinSplits returns the splits of n trials whose kinds are drawn by a fair coin, without tails of 2·10⁻¹² in all.
func CoinSplits(n int) []Split {
	lo := firstCount(0, n, func(k int) bool { return lnBinomialLower(k, n, 0.5) > lnDropped })
	step := 1
	if n > maxEnumerated {
		step = (n-2*lo)/sampledSplits + 1
	}
	var all []Split
	sum := 0.0
	for k := lo; k <= n-lo; k += step {
		all = append(all, Split{k, math.Exp(lnBinomialPoint(k, n, 0.5))})
		sum += all[len(all)-1].Chance
	}
	for i := range all {
		all[i].Chance /= sum
	}
	return all
}

// RoundSplits returns the splits of n trials dealt in complete rounds of an even number of assignments, half of them
// different; the remaining trials are drawn from one more round without replacement.
func RoundSplits(n, assignments int) []Split {
	rest, half := n%assignments, assignments/2
	drawn := hypergeometric{nd: half, ns: half, m: rest}
	lo, hi := drawn.bounds()
	var all []Split
	for k := lo; k <= hi; k++ {
		all = append(all, Split{n/assignments*half + k, math.Exp(drawn.ln(k))})
	}
	return all
}

// FisherPower returns the exact power of Fisher's test of hits against false alarms at risk α, over the splits of n
// trials, for a listener who is right with probability p on either kind: one without response bias. Bias lowers the power.
// Critical is the number of right answers that decides where kinds and answers are both half and half, nil where none does:
// other splits and answers have other critical counts. Size is the power for a guesser.
// It is an error if n, p or α is out of range.
func FisherPower(n int, splits []Split, p, alpha float64) (Power, error) {
	if err := checkPlan(0.5, p, alpha); err != nil {
		return Power{}, err
	}
	if n < 1 || n > MaxTrials {
		return Power{}, fmt.Errorf("stats: %d trials: 1 to %d can be planned", n, MaxTrials)
	}
	powers := FisherPowers(splits, n, alpha, p, 0.5)
	return Power{Trials: n, Critical: evenCritical(n, alpha), Power: powers[0], Size: powers[1]}, nil
}

// FisherPowers returns FisherPower at each of several p, hardly slower than at one.
func FisherPowers(splits []Split, n int, alpha float64, p ...float64) []float64 {
	powers := make([]float64, len(p))
	for _, d := range splits {
		for i, power := range fisherPowersAt(d.Different, n-d.Different, alpha, p) {
			powers[i] += d.Chance * power
		}
	}
	return powers
}

// evenCritical returns the critical count where half of n trials are different and half are called different; n/2 rounded
// down where n is odd.
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

// rejects reports whether Fisher's test at risk α rejects at this number of hits.
func (h hypergeometric) rejects(hits int, alpha float64) bool {
	return h.lnUpper(hits) <= math.Log(alpha)+reachSlack
}

// fisherPowersAt sums over the false alarms. The smallest number of hits that rejects never falls as false alarms grow.
func fisherPowersAt(nd, ns int, alpha float64, p []float64) []float64 {
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

// maxFisherTrials is the largest plan that FisherTrialsFor considers.
const maxFisherTrials = 5000

// FisherTrialsFor returns the smallest plan whose FisherPower against p reaches power and keeps it over the next round of
// four trials, starting from the number of trials that the exact binomial test needs. splits returns the splits of n
// trials. It returns ErrOutOfReach where p is no better than chance or 5000 trials do not suffice.
func FisherTrialsFor(splits func(n int) []Split, p, alpha, power float64) (Power, error) {
	plain, err := TrialsFor(0.5, p, alpha, power)
	if err != nil {
		return Power{}, err
	}
	const round = 4
	var found Power
	held := 0
	for n := plain.Trials; n <= maxFisherTrials; n++ {
		at, err := FisherPower(n, splits(n), p, alpha)
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
	return Power{}, fmt.Errorf("%w: power %v needs more than %d trials", ErrOutOfReach, power, maxFisherTrials)
}
