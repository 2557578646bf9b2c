package stats

import "math"

// Unexported functions that the tests in package stats_test check.
var (
	NormalQuantile        = normalQuantile
	DifferencingHit       = differencingHit
	DifferencingCriterion = differencingCriterion
)

// BetaBinomialLikelihood returns ln L of the counts at a mean and an intraclass correlation.
func BetaBinomialLikelihood(counts []Count, mean, rho float64) float64 {
	return newBetaBinomial(counts).ln(mean, rho/(1-rho))
}

// LnChoose returns ln C(n, k).
var LnChoose = lnChoose

// PairIndependent returns d′ of the independent model at zH − zF.
var PairIndependent = pairIndependent

// ConfidenceOfMean returns the confidence at which the interval of a mean over k listeners ends where the likelihood has
// fallen as far as it does for many at 0.95.
func ConfidenceOfMean(k int) float64 {
	z := normalUpperPoint(math.Log(0.025))
	return rootBetween(func(c float64) float64 { return meanFall(k, c) - z*z/2 }, 0.5, 0.95)
}

// Full is the flag of the wider grids, for the tests outside the package.
var Full = full
