package stats

// What the tests in package stats_test check of the inside.
var (
	NormalQuantile        = normalQuantile
	DifferencingHit       = differencingHit
	DifferencingCriterion = differencingCriterion
)

// BetaBinomialLikelihood returns ln L of the counts at a mean and an intraclass correlation.
func BetaBinomialLikelihood(counts []Count, mean, rho float64) float64 {
	return newBetaBinomial(counts).ln(mean, rho/(1-rho))
}

// PairIndependent returns d′ of the independent model at zH − zF.
var PairIndependent = pairIndependent
