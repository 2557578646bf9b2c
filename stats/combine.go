package stats

import (
	"math"
	"slices"
)

// Holm returns the p-values adjusted so that the probability of any false finding among them stays below the level they
// are compared with. The order is kept; p-values and results are natural logarithms, so that none underflows.
//
// ref: Holm (1979).
func Holm(lnP []float64) []float64 {
	adjusted, order, m := make([]float64, len(lnP)), sorted(lnP), len(lnP)
	worst := math.Inf(-1)
	for rank, i := range order {
		worst = math.Max(worst, lnP[i]+math.Log(float64(m-rank)))
		adjusted[i] = math.Min(0, worst)
	}
	return adjusted
}

// BenjaminiHochberg returns the p-values adjusted so that the expected proportion of false findings stays below the
// level. The order is kept; p-values and results are natural logarithms.
//
// ref: Benjamini & Hochberg (1995).
func BenjaminiHochberg(lnP []float64) []float64 {
	adjusted, order, m := make([]float64, len(lnP)), sorted(lnP), len(lnP)
	best := 0.0
	for rank := m - 1; rank >= 0; rank-- {
		i := order[rank]
		best = math.Min(best, lnP[i]+math.Log(float64(m)/float64(rank+1)))
		adjusted[i] = best
	}
	return adjusted
}

// sorted returns the indices of v from smallest to largest.
func sorted(v []float64) []int {
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case v[a] < v[b]:
			return -1
		case v[a] > v[b]:
			return 1
		}
		return 0
	})
	return order
}

// Fisher returns ln of the combined p of independent p-values given as natural logarithms: −2·Σ ln p against χ².
func Fisher(lnP []float64) float64 {
	sum := 0.0
	for _, l := range lnP {
		sum -= 2 * l
	}
	return lnChiSquareUpper(sum, 2*len(lnP))
}

// Stouffer returns ln of the combined one-sided p of independent z values, each with its weight: Σ w·z / √Σ w².
func Stouffer(z, weight []float64) float64 {
	sum, squares := 0.0, 0.0
	for i := range z {
		sum += weight[i] * z[i]
		squares += weight[i] * weight[i]
	}
	return lnNormalUpper(sum / math.Sqrt(squares))
}

// midZ returns the z of the mid-p, computed from the smaller tail.
func (b Binomial) midZ() float64 {
	if b.lnMid <= b.lnMidBelow {
		return normalUpperPoint(b.lnMid)
	}
	return -normalUpperPoint(b.lnMidBelow)
}
