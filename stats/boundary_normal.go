package stats

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// normalLooks is the largest number of looks whose normal constant is computed: its cost grows with their square.
const normalLooks = 20

// NormalConstant returns the constant C of the normal theory: for a Brownian path observed after n_i of N, with
// one-sided size α over all looks. Printed tables give it for equal spacing, this for any; the exact constant approaches it
// as trials grow. NaN for more than 20 looks.
//
// ref: the recursive integration of Armitage, McPherson & Rowe (1969), J. R. Stat. Soc. A 132.
func (b Boundary) NormalConstant(at []int, alpha float64) float64 {
	if len(at) > normalLooks {
		return math.NaN()
	}
	single := normalUpperPoint(math.Log(alpha))
	if len(at) == 1 {
		return single
	}
	excess := func(c float64) float64 { return b.normalSize(at, c) - alpha }
	return rootBetween(excess, single, normalUpperPoint(math.Log(alpha/float64(len(at)))))
}

// normalSize returns the probability that a Brownian path S(t), t = n_i/N, crosses C·√t/weight at any look. The density of
// the surviving paths is carried from look to look on the nodes of a Gauss–Legendre rule.
func (b Boundary) normalSize(at []int, c float64) float64 {
	last := at[len(at)-1]
	var x, mass []float64 // nodes and weighted density of the surviving paths
	crossed, before := 0.0, 0.0
	for i, n := range at {
		t := float64(n) / float64(last)
		edge := c / b.weight(n, last) * math.Sqrt(t)
		step := math.Sqrt(t - before)
		if i == 0 {
			x, mass = []float64{0}, []float64{1}
		}
		for j := range x {
			crossed += mass[j] * math.Exp(lnNormalUpper((edge-x[j])/step))
		}
		x, mass = goOn(x, mass, edge, step, math.Sqrt(t))
		before = t
	}
	return crossed
}

// goOn convolves the density with one increment of standard deviation step and cuts it at edge. What lies below −9
// standard deviations does not change the twelfth digit.
func goOn(x, mass []float64, edge, step, spread float64) (to, moved []float64) {
	low := -9 * spread
	nodes := 24 + 4*int(math.Ceil((edge-low)/step))
	to, moved = make([]float64, nodes), make([]float64, nodes)
	quad.Legendre{}.FixedLocations(to, moved, low, edge)
	for i, u := range to {
		density := 0.0
		for j := range x {
			z := (u - x[j]) / step
			density += mass[j] * math.Exp(-z*z/2)
		}
		moved[i] *= density / (step * math.Sqrt(2*math.Pi))
	}
	return to, moved
}
