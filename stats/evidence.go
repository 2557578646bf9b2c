package stats

import "math"

// lnEvidence returns the logarithm of the Bayes factor of p uniform on [1/2, 1] against p = 1/2 after k of n.
//
//	2^(n+1)·B(k+1, n−k+1)·[1 − I_1/2(k+1, n−k+1)]
//
// Read after every trial it is a test martingale: under p = 1/2 it exceeds 1/α ever, with probability at most α,
// however often one looks (Ville's inequality), so it is the e-value of the sequential plan too.
func lnEvidence(k, n int) float64 {
	return lnEvidenceAbove(k, n, 0.5)
}

// EValue returns the anytime-valid evidence of k of n against p = 1/2, and its decimal logarithm, which does not
// overflow. 'Heard' may be said as soon as it reaches 1/α.
func EValue(k, n int) (e, log10 float64) {
	ln := lnEvidence(k, n)
	return math.Exp(ln), log10Of(ln)
}

// EvidenceCount returns the smallest k at which the e-value after n trials reaches 1/α; ok is false where none does.
func EvidenceCount(n int, alpha float64) (k int, ok bool) {
	k = firstCount(0, n, func(k int) bool { return lnEvidence(k, n) >= -math.Log(alpha)-reachSlack })
	return k, k <= n
}
