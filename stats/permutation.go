package stats

import "math"

// Permutation is the permutation test of duplicate pairs: the share of possible deals on which the same answers, given in
// the same order, would have hit and false-alarm rates at least as far apart. It assumes nothing about the listener and
// rests on the randomness of the deal alone. Both probabilities are exact, not sampled.
type Permutation struct {
	// PBalanced is over deals with the same number of different pairs, in any order: Fisher's exact p.
	PBalanced float64 `json:"p_balanced"`
	// PCoin is over deals in which a fair coin draws each pair, so that the number of different pairs varies too.
	PCoin         float64 `json:"p_coin"`
	PCoinTwoSided float64 `json:"p_coin_two_sided"`
	Log10PCoin    float64 `json:"log10_p_coin"`
}

// PermutePairs returns the permutation test of the answers, by the difference of hit rate and false-alarm rate; a deal
// without pairs of both kinds shows no difference. It is an error if a count is negative, or if there are no same or no
// different pairs.
//
//	p = Σ_a P(A = a)·P(B ≤ b(a)), A binomial of the 'different' answers, B of the 'same' answers, both at 1/2
//
// where a and b are the different pairs among either, and b(a) is the largest b for which the rates are as far apart.
func PermutePairs(c Pairs) (Permutation, error) {
	if err := c.check(); err != nil {
		return Permutation{}, err
	}
	nd, ns := c.Hits+c.Misses, c.FalseAlarms+c.CorrectRejections
	fisher := hypergeometric{nd: nd, ns: ns, m: c.Hits + c.FalseAlarms}.lnUpper(c.Hits)
	found := rate(c.Hits, c.Misses) - rate(c.FalseAlarms, c.CorrectRejections)
	ln := lnCoinDeals(c.Hits+c.FalseAlarms, c.Misses+c.CorrectRejections, found)
	r := Permutation{PBalanced: math.Exp(fisher), PCoin: math.Exp(ln), Log10PCoin: log10Of(ln), PCoinTwoSided: 1}
	// Exchanging same and different changes the sign of every difference, so that its distribution is symmetric.
	if found != 0 {
		r.PCoinTwoSided = math.Min(1, 2*math.Exp(lnCoinDeals(c.Hits+c.FalseAlarms, c.Misses+c.CorrectRejections, math.Abs(found))))
	}
	return r, nil
}

// lnCoinDeals returns ln of the probability that a deal by fair coins gives a difference of rates of at least found, for
// said answers 'different' and unsaid answers 'same'.
func lnCoinDeals(said, unsaid int, found float64) float64 {
	const slack = 1e-12 // differences of quotients of small whole numbers: equal ones must compare equal despite rounding
	ln := math.Inf(-1)
	for a := 0; a <= said; a++ {
		// The difference falls as more of the different pairs were called 'same'.
		b := lastWhere(0, unsaid, func(b int) bool { return dealtDifference(a, b, said, unsaid) >= found-slack })
		if b >= 0 {
			ln = lnAdd(ln, lnBinomialPoint(a, said, 0.5)+lnBinomialLower(b, unsaid, 0.5))
		}
	}
	return math.Min(0, ln)
}

func dealtDifference(a, b, said, unsaid int) float64 {
	different, same := a+b, said+unsaid-a-b
	if different == 0 || same == 0 {
		return 0
	}
	return float64(a)/float64(different) - float64(said-a)/float64(same)
}
