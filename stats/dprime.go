package stats

import "math"

// ABXIndependent returns the chance of a correct ABX answer at d′ ≥ 0 where the three presentations are judged as
// independent observations; it is 1/2 at 0 and rises to 1.
//
//	p = Φ(d′/√2)·Φ(d′/2) + Φ(−d′/√2)·Φ(−d′/2)
//
// ref: Macmillan & Creelman (2005), Detection Theory, chapter 9.
func ABXIndependent(d float64) float64 { return 0.5 + 0.5*math.Erf(d/2)*math.Erf(d/(2*math.Sqrt2)) }

// ABXDifferencing returns the chance of a correct ABX answer at d′ ≥ 0 where X is compared with A and B by its
// distance to each; it equals the duo-trio test.
//
//	p = Φ(d′/√2)·Φ(d′/√6) + Φ(−d′/√2)·Φ(−d′/√6)
//
// ref: Ennis (1993); Macmillan & Creelman (2005), chapter 9.
func ABXDifferencing(d float64) float64 { return 0.5 + 0.5*math.Erf(d/2)*math.Erf(d/math.Sqrt(12)) }

// PairUnbiased returns the probability that an unbiased listener judges a duplicate pair correctly at d′, as two
// independent observations: Φ(d′/2)² + Φ(−d′/2)².
func PairUnbiased(d float64) float64 { return 0.5 + 0.5*math.Pow(math.Erf(d/(2*math.Sqrt2)), 2) }

// ABXIndependentInverse returns the d′ at which ABXIndependent is p: 0 at or below 1/2, NaN at 1 and above.
func ABXIndependentInverse(p float64) float64 { return abxInverse(p, 2*math.Sqrt2) }

// ABXDifferencingInverse returns the d′ at which ABXDifferencing is p: 0 at or below 1/2, NaN at 1 and above.
func ABXDifferencingInverse(p float64) float64 { return abxInverse(p, math.Sqrt(12)) }

// abxInverse solves erf(d/2)·erf(d/c) = 2p − 1; above 3/4 through the complements, which keep their precision.
func abxInverse(p, c float64) float64 {
	switch {
	case math.IsNaN(p) || p >= 1:
		return math.NaN()
	case p <= 0.5:
		return 0
	}
	f := func(d float64) float64 { return math.Erf(d/2)*math.Erf(d/c) - (2*p - 1) }
	if 2*p-1 > 0.5 {
		f = func(d float64) float64 {
			a, b := math.Erfc(d/2), math.Erfc(d/c)
			return math.Log(2*(1-p)) - math.Log(a+b-a*b)
		}
	}
	return rootBetween(f, 0, 90)
}
