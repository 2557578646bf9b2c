package stats

import "math"

// EValue returns the anytime-valid evidence of k of n against p = p₀, the chance of a guesser, and its decimal logarithm,
// which does not overflow: the Bayes factor of p uniform on [p₀, 1] against p₀.
//
//	B(k+1, n−k+1)·[1 − I_p₀(k+1, n−k+1)] / [p₀^k·(1 − p₀)^(n−k+1)]
//
// Evaluated after every trial it is a test martingale: under p = p₀ the probability that it ever reaches 1/α is at most α,
// however often one looks (Ville's inequality). So 'heard' may be declared as soon as it reaches 1/α.
func EValue(k, n int, chance float64) (e, log10 float64) {
	ln := lnEvidenceAbove(k, n, chance)
	return math.Exp(ln), log10Of(ln)
}

// EvidenceCount returns the smallest k at which the e-value after n trials reaches 1/α; ok is false where none does.
func EvidenceCount(n int, chance, alpha float64) (k int, ok bool) {
	k = firstCount(0, n, func(k int) bool { return lnEvidenceAbove(k, n, chance) >= -math.Log(alpha)-reachSlack })
	return k, k <= n
}
