package link

import (
	"math"
	"testing"
)

// R 4.2.2's help for cor.test (data of Hollander and Wolfe): tau 0.4444, T = 26, two-sided p 0.1194.
func TestKendallAgreesWithThePublishedExample(t *testing.T) {
	x := []float64{44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1}
	y := []float64{2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8}
	points := make([]TrendPoint, len(x))
	for i := range x {
		points[i] = TrendPoint{Difference: x[i], Proportion: y[i]}
	}
	tau, p, exact := kendall(points)
	if math.Abs(tau-0.4444444) > 1e-6 || math.Abs(p-0.1194) > 5e-5 || !exact {
		t.Errorf("tau %.6f p %.6f", tau, p)
	}
}
