package stats

import "math"

// Redeal is the permutation test of duplicate pairs: how often the same answers, given in the same order, would fall on
// other deals with hits and false alarms at least as far apart. It asks nothing of the listener, whatever habits the
// answers follow; it rests on the deal alone. Both are counted, not sampled.
type Redeal struct {
	// PBalanced is for deals that hold as many different pairs as there were, in any order: Fisher's exact p.
	PBalanced float64 `json:"p_balanced"`
	// PCoin is for deals in which a fair coin drew each pair, so that the number of different pairs varies too.
	PCoin         float64 `json:"p_coin"`
	PCoinTwoSided float64 `json:"p_coin_two_sided"`
	Log10PCoin    float64 `json:"log10_p_coin"`
}

// RedealPairs returns the permutation test of the answers, by the difference of hit rate and false-alarm rate; a deal
// without pairs of both kinds shows no difference. It is an error if a count is negative, or if there are no same or no
// different pairs.
//
//	p = Σ_a P(A = a)·P(B ≤ b(a)), A binomial of the 'different' answers, B of the 'same' answers, both at 1/2
//
// where a and b are the different pairs among either, and b(a) the largest b that leaves the rates as far apart.
func RedealPairs(c Pairs) (Redeal, error) {
	if err := c.check(); err != nil {
		return Redeal{}, err
	}
	nd, ns := c.Hits+c.Misses, c.FalseAlarms+c.CorrectRejections
	fisher := hypergeometric{nd: nd, ns: ns, m: c.Hits + c.FalseAlarms}.lnUpper(c.Hits)
	found := rate(c.Hits, c.Misses) - rate(c.FalseAlarms, c.CorrectRejections)
	ln := lnCoinDeals(c.Hits+c.FalseAlarms, c.Misses+c.CorrectRejections, found)
	r := Redeal{PBalanced: math.Exp(fisher), PCoin: math.Exp(ln), Log10PCoin: log10Of(ln), PCoinTwoSided: 1}
	// Same and different exchanged turn every difference round, so that its law is symmetric.
	if found != 0 {
		r.PCoinTwoSided = math.Min(1, 2*math.Exp(lnCoinDeals(c.Hits+c.FalseAlarms, c.Misses+c.CorrectRejections, math.Abs(found))))
	}
	return r, nil
}

// lnCoinDeals returns ln of the probability that a coin deals a difference of at least found to said answers
// 'different' and unsaid answers 'same'.
func lnCoinDeals(said, unsaid int, found float64) float64 {
	const slack = 1e-12 // differences are quotients of small whole numbers: equal ones must not part by rounding
	ln := math.Inf(-1)
	for a := 0; a <= said; a++ {
		// The difference falls as more of the different pairs were called the same.
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
