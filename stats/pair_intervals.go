package stats

import "math"

// lnPairs returns the log-likelihood of the answers at hit rate h and false-alarm rate f, without constants.
func (c Pairs) lnPairs(h, f float64) float64 {
	return lnRate(c.Hits, c.Misses, h) + lnRate(c.FalseAlarms, c.CorrectRejections, f)
}

func lnRate(yes, no int, p float64) float64 { return bernoulli(float64(yes), float64(yes+no), p) }

func clampRate(p float64) float64 { return math.Min(math.Max(p, 1e-300), 1-1e-16) }

func xlogy(n int, y float64) float64 {
	if n == 0 {
		return 0
	}
	return float64(n) * math.Log(y)
}

// setIntervals fills in the likelihood intervals of d′ and criterion. They use no normal approximation of d′, which would
// be meaningless near zero. Each is widened to include its estimate, which the log-linear correction can move out of it
// where the confidence is below about 0.7.
func (s *PairScore) setIntervals() {
	r := s.region(s.Confidence)
	s.DPrimeDifferencingInterval = including(r.rangeOf(ratesDifferencing), s.DPrimeDifferencing)
	s.DPrimeInterval = including(r.rangeOf(ratesIndependent), s.DPrimeIndependent)
	s.CriterionInterval = including(s.criterionInterval(), s.Criterion)
}

// ratesDifferencing and ratesIndependent return the d′ of two rates, 0 where H is at or below F.
func ratesDifferencing(h, f float64) float64 { return differencingDPrime(h, differencingCriterion(f)) }
func ratesIndependent(h, f float64) float64 {
	return pairIndependent(normalQuantile(h) - normalQuantile(f))
}

// criterionInterval returns the likelihood interval of τ in the differencing model. It follows from the false alarms
// alone.
func (s *PairScore) criterionInterval() [2]float64 {
	z := normalUpperPoint(math.Log((1 - s.Confidence) / 2))
	lo, hi := lnRateEdge(s.FalseAlarms, s.CorrectRejections, lnRate(s.FalseAlarms, s.CorrectRejections, s.FalseAlarmRate)-z*z/2)
	strict, _ := fromLogit(lo)
	lax, _ := fromLogit(hi)
	iv := [2]float64{differencingCriterion(lax), math.NaN()}
	if s.FalseAlarms > 0 {
		iv[1] = differencingCriterion(strict)
	}
	return iv
}

// including widens an interval to include x; an end that does not exist stays NaN.
func including(iv [2]float64, x float64) [2]float64 {
	return [2]float64{math.Min(iv[0], x), math.Max(iv[1], x)} // NaN stays NaN in both
}
