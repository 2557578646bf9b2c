package stats

import "math"

func (c Pairs) margins() hypergeometric {
	return hypergeometric{nd: c.Hits + c.Misses, ns: c.FalseAlarms + c.CorrectRejections, m: c.Hits + c.FalseAlarms}
}

// chances returns P(hits = x) from the smallest x on.
func (h hypergeometric) chances() (lo int, p []float64) {
	lo, hi := h.bounds()
	p = make([]float64, hi-lo+1)
	for i := range p {
		p[i] = math.Exp(h.ln(lo + i))
	}
	return lo, p
}

// ConditionalP returns ln of the exact one-sided p of the hits of several tables together, given the margins of each:
// Fisher's test for one table, the exact conditional test over strata for several. It holds for every response bias, even
// one that differs from table to table.
//
// ref: Agresti (2013), Categorical Data Analysis, 3rd edition, 7.3; from memory.
func ConditionalP(tables []Pairs) float64 {
	if len(tables) == 1 {
		return tables[0].margins().lnUpper(tables[0].Hits)
	}
	seen, all := 0, []float64{1}
	for _, t := range tables {
		lo, p := t.margins().chances()
		seen += t.Hits - lo
		next := make([]float64, len(all)+len(p)-1)
		for i, a := range all {
			for k, b := range p {
				next[i+k] += a * b
			}
		}
		all = next
	}
	sum := 0.0
	for i := len(all) - 1; i >= seen; i-- {
		sum += all[i]
	}
	return math.Min(0, math.Log(sum))
}

// dealtNodes is the number of values of p between 1/2 and 1 over which the evidence of balanced deals is averaged.
const dealtNodes = 32

// lnDealt returns ln of the evidence of a balanced deal, given its margins: the likelihood ratio of a listener who is right
// with probability p on either kind against a guesser, averaged over p between 1/2 and 1. For a session that was given up
// it counts only evidence against hearing, because whoever broke it off may have known more than they should.
func (s Sitting) lnDealt() float64 {
	h, x := s.Dealt.margins(), s.Dealt.Hits
	lo, chances := h.chances()
	sum := math.Inf(-1)
	for i := range dealtNodes {
		p := 0.5 + 0.5*(float64(i)+0.5)/dealtNodes
		odds, all := 2*math.Log(p/(1-p)), math.Inf(-1)
		for k, c := range chances {
			all = lnAdd(all, math.Log(c)+float64(lo+k)*odds)
		}
		sum = lnAdd(sum, float64(x)*odds-all)
	}
	ln := sum - math.Log(dealtNodes)
	if !s.finished() {
		return math.Min(0, ln)
	}
	return ln
}
