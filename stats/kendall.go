package stats

import (
	"fmt"
	"math"
	"slices"
)

// Rank is Kendall's rank correlation of pairs (x, y).
type Rank struct {
	Tau     float64 `json:"tau"`       // τ-b; NaN with fewer than two pairs, or where x or y is all ties
	S       int     `json:"s"`         // concordant less discordant pairs
	P       float64 `json:"p_value"`   // two-sided: the share of orders with |S| at least as observed; NaN below three pairs
	Greater float64 `json:"p_greater"` // one-sided: S at least as observed
	Exact   bool    `json:"exact"`     // every order was counted; false: normal approximation
}

// LeastRanked is the least number of pairs that have a p: two have an order and its reverse, and nothing between.
const LeastRanked = 3

// Bounds of the exact distributions: with ties all n! orders are enumerated; without ties, S has about n²/2 values and
// its distribution is built up in n³ steps.
const (
	maxOrders = 9
	maxExact  = 300
)

// Kendall returns the rank correlation τ-b of x and y. Without ties p is exact up to 300 pairs, with ties up to 9;
// beyond, it is normal with the variance corrected for ties, which with n pairs is off by about 1/n. It panics if the
// lengths differ.
//
// ref: Kendall (1938); the variance with ties: Kendall (1970), Rank Correlation Methods, chapter 4.
func Kendall(x, y []float64) Rank {
	if len(x) != len(y) {
		panic(fmt.Sprintf("stats: %d values of x and %d of y", len(x), len(y)))
	}
	n := len(x)
	r := Rank{P: math.NaN(), Greater: math.NaN()}
	var tiesX, tiesY int
	r.S, tiesX, tiesY = concordance(x, y)
	pairs := float64(n*(n-1)) / 2
	if r.Tau = float64(r.S) / math.Sqrt((pairs-float64(tiesX))*(pairs-float64(tiesY))); math.IsInf(r.Tau, 0) {
		r.Tau = math.NaN()
	}
	if n < LeastRanked || math.IsNaN(r.Tau) {
		return r
	}
	switch ties := tiesX+tiesY > 0; {
	case !ties && n <= maxExact:
		r.Exact = true
		r.P, r.Greater = byInversions(n, r.S)
	case n <= maxOrders:
		r.Exact = true
		r.P, r.Greater = everyOrder(x, y, r.S)
	default:
		z := float64(r.S) / math.Sqrt(varianceOfS(x, y))
		r.P, r.Greater = math.Min(1, 2*math.Exp(lnNormalUpper(math.Abs(z)))), math.Exp(lnNormalUpper(z))
	}
	return r
}

// concordance counts concordant less discordant pairs, and pairs tied in x and in y.
func concordance(x, y []float64) (s, tiesX, tiesY int) {
	for i := range x {
		for k := range i {
			dx, dy := sign(x[i]-x[k]), sign(y[i]-y[k])
			s += dx * dy
			if dx == 0 {
				tiesX++
			}
			if dy == 0 {
				tiesY++
			}
		}
	}
	return s, tiesX, tiesY
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// everyOrder enumerates all orders of y against x.
func everyOrder(x, y []float64, seen int) (two, greater float64) {
	order := append([]float64(nil), y...)
	all, far, above := 0, 0, 0
	var walk func(k int)
	walk = func(k int) {
		if k < len(order) {
			for i := k; i < len(order); i++ {
				order[k], order[i] = order[i], order[k]
				walk(k + 1)
				order[k], order[i] = order[i], order[k]
			}
			return
		}
		s, _, _ := concordance(x, order)
		all++
		if max(s, -s) >= max(seen, -seen) {
			far++
		}
		if s >= seen {
			above++
		}
	}
	walk(0)
	return float64(far) / float64(all), float64(above) / float64(all)
}

// byInversions counts permutations of n by their number of inversions; S is all pairs less twice that number.
func byInversions(n, seen int) (two, greater float64) {
	share := []float64{1}
	for m := 2; m <= n; m++ {
		next := make([]float64, len(share)+m-1)
		window := 0.0
		for i := range next { // the new element precedes 0 to m − 1 of the others
			if i < len(share) {
				window += share[i]
			}
			if i >= m {
				window -= share[i-m]
			}
			next[i] = math.Max(0, window) / float64(m)
		}
		share = mirrored(next)
	}
	pairs := n * (n - 1) / 2
	for inversions, v := range share {
		s := pairs - 2*inversions
		if max(s, -s) >= max(seen, -seen) {
			two += v
		}
		if s >= seen {
			greater += v
		}
	}
	return math.Min(1, two), math.Min(1, greater)
}

// mirrored copies the lower half of a symmetric distribution onto the upper, where the sliding sum has lost precision.
func mirrored(share []float64) []float64 {
	for i, k := 0, len(share)-1; i < k; i, k = i+1, k-1 {
		share[k] = share[i]
	}
	return share
}

// varianceOfS is the variance of S over all orders, with ties.
func varianceOfS(x, y []float64) float64 {
	n := float64(len(x))
	x1, x2, x3 := tieSums(x)
	y1, y2, y3 := tieSums(y)
	return (n*(n-1)*(2*n+5)-x3-y3)/18 + x1*y1/(2*n*(n-1)) + x2*y2/(9*n*(n-1)*(n-2))
}

// tieSums returns Σt(t−1), Σt(t−1)(t−2) and Σt(t−1)(2t+5) over groups of t equal values.
func tieSums(v []float64) (pairs, triples, weighted float64) {
	v = append([]float64(nil), v...)
	slices.Sort(v)
	for i := 0; i < len(v); {
		k := i
		for k < len(v) && v[k] == v[i] {
			k++
		}
		t := float64(k - i)
		pairs += t * (t - 1)
		triples += t * (t - 1) * (t - 2)
		weighted += t * (t - 1) * (2*t + 5)
		i = k
	}
	return pairs, triples, weighted
}
