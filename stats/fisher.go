package stats

import "math"

// hypergeometric is the distribution of the number of hits given both margins: m 'different' answers over nd different
// and ns same pairs.
type hypergeometric struct{ nd, ns, m int }

func (h hypergeometric) bounds() (lo, hi int) { return max(0, h.m-h.ns), min(h.m, h.nd) }

// ln returns ln P(hits = x) as three binomial probabilities, whose common chance cancels.
func (h hypergeometric) ln(x int) float64 {
	p := float64(h.m) / float64(h.nd+h.ns)
	if p == 0 || p == 1 {
		return 0
	}
	return lnBinomialPoint(x, h.nd, p) + lnBinomialPoint(h.m-x, h.ns, p) - lnBinomialPoint(h.m, h.nd+h.ns, p)
}

// lnUpper returns ln P(hits ≥ x), lnLower ln P(hits ≤ x). Terms are added from x outwards until they are negligible.
func (h hypergeometric) lnUpper(x int) float64 { return h.sum(x, 1) }
func (h hypergeometric) lnLower(x int) float64 { return h.sum(x, -1) }

func (h hypergeometric) sum(x, step int) float64 {
	lo, hi := h.bounds()
	if step > 0 && x <= lo || step < 0 && x >= hi {
		return 0
	}
	if x < lo || x > hi {
		return math.Inf(-1)
	}
	mode := int(float64(h.m+1) * float64(h.nd+1) / float64(h.nd+h.ns+2))
	if (x-mode)*step <= 0 {
		return ln1mExp(h.sum(x-step, -step)) // the other tail is the smaller one
	}
	sum, term := 1.0, 1.0
	for i := x; i+step >= lo && i+step <= hi; i += step {
		term *= h.ratio(i, step)
		sum += term
		if term < termsDone*sum {
			break
		}
	}
	return math.Min(0, h.ln(x)+math.Log(sum))
}

// termsDone is the part of a sum below which further terms change nothing: less than a double resolves, with room for many.
const termsDone = 1e-18

// ratio returns P(i + step)/P(i).
func (h hypergeometric) ratio(i, step int) float64 {
	if step > 0 {
		return float64(h.nd-i) * float64(h.m-i) / (float64(i+1) * float64(h.ns-h.m+i+1))
	}
	return float64(i) * float64(h.ns-h.m+i) / (float64(h.nd-i+1) * float64(h.m-i+1))
}

// setFisher fills in the exact conditional test: are there more hits than the same bias towards 'different' gives by chance?
func (s *PairScore) setFisher() {
	nd, ns := s.Hits+s.Misses, s.FalseAlarms+s.CorrectRejections
	h := hypergeometric{nd: nd, ns: ns, m: s.Hits + s.FalseAlarms}
	up, down, half := h.lnUpper(s.Hits), h.lnLower(s.Hits), h.ln(s.Hits)-math.Ln2
	mid := half
	lo, hi := h.bounds()
	if s.Hits < hi {
		mid = lnAdd(half, h.lnUpper(s.Hits+1))
	}
	two := h.lnTwoSided(s.Hits)
	s.setTest(Binomial{P: math.Exp(up), Log10P: log10Of(up), Below: math.Exp(down), Log10Low: log10Of(down),
		MidP: math.Exp(mid), Log10MidP: log10Of(mid), TwoSided: math.Exp(two), Log10TwoSided: log10Of(two)})
	limit := math.Log(s.Alpha) + reachSlack
	hits := firstCount(lo, hi, func(x int) bool { return h.lnUpper(x) <= limit })
	if hits <= hi {
		critical := 2*hits + ns - h.m // hits and correct rejections together, at these margins
		s.Critical, s.Reached = &critical, s.Hits >= hits
	}
}

// lnTwoSided sums the tables that are no likelier than x, the convention of R's fisher.test (relative tolerance 1e-7).
func (h hypergeometric) lnTwoSided(x int) float64 {
	lo, hi := h.bounds()
	limit := h.ln(x) + 1e-7
	mode := min(max(int(float64(h.m+1)*float64(h.nd+1)/float64(h.nd+h.ns+2)), lo), hi)
	low := lastWhere(lo, mode, func(i int) bool { return h.ln(i) <= limit })
	high := firstCount(mode, hi, func(i int) bool { return h.ln(i) <= limit })
	if low >= high-1 {
		return 0
	}
	total := math.Inf(-1)
	if low >= lo {
		total = h.lnLower(low)
	}
	if high <= hi {
		total = lnAdd(total, h.lnUpper(high))
	}
	return math.Min(0, total)
}
