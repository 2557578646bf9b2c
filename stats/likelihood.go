package stats

import "math"

// LikelihoodRoot returns the signed root of the likelihood ratio of k of n against chance p₀, and the one-sided p of
// its normal approximation: sign(k − n·p₀)·√{2·[k·ln(k/(n·p₀)) + (n − k)·ln((n − k)/(n·(1 − p₀)))]}.
// It is an error if the counts or the chance are out of range.
func LikelihoodRoot(k, n int, p0 float64) (root, p float64, err error) {
	if err := checkCounts(k, n); err != nil {
		return 0, 0, err
	}
	if err := checkFraction("chance", p0); err != nil {
		return 0, 0, err
	}
	expected := float64(n) * p0
	root = math.Sqrt(2 * (likelihoodTerm(k, expected) + likelihoodTerm(n-k, float64(n)-expected)))
	if float64(k) < expected {
		root = -root
	}
	return root, math.Exp(lnNormalUpper(root)), nil
}

// likelihoodTerm is x·ln(x/m) + m − x; the m − x of both outcomes cancel.
func likelihoodTerm(x int, m float64) float64 {
	if x == 0 {
		return m
	}
	return deviance(float64(x), m)
}

// likelihoodLower returns the p below k/n whose likelihood ratio against k/n is at the two-sided limit of the tail.
func likelihoodLower(k, n int, tail float64) float64 {
	if k == 0 {
		return 0
	}
	z := normalUpperPoint(math.Log(tail))
	excess := func(t float64) float64 {
		p, q := fromLogit(t)
		return likelihoodTerm(k, float64(n)*p) + likelihoodTerm(n-k, float64(n)*q) - z*z/2
	}
	top := math.Log(float64(k) / (float64(n-k) + 1e-300))
	p, _ := fromLogit(rootBetween(excess, -745, math.Min(top, 40)))
	return p
}
