package fit_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match/fit"
)

// Levels whose loudest blocks decide, as in music with few attacks: three standard errors are seldom exceeded, and where
// only two blocks decide, that is reported. Noise of both captures lies under them.
func TestSlopesErrorHoldsWhereFewBlocksDecide(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 15))
	beyond := 0
	for range 4000 {
		pairs := make([][2]float64, 70)
		for i := range pairs {
			level := math.Exp(1.2 * r.NormFloat64())
			pairs[i] = [2]float64{level + 1, level + 1 + 0.05*(1+math.Sqrt(level))*r.NormFloat64()}
		}
		if ratio, error, deciding := fit.Slope(pairs); math.Abs(ratio-1) > 3*error*fit.StudentFactor(deciding, 3) {
			beyond++
		}
	}
	if beyond > 4000*3/1000 { // as with a normal distribution
		t.Errorf("%d of 4000 beyond three standard errors", beyond)
	}
	two := make([][2]float64, 70)
	for i := range two {
		two[i] = [2]float64{1 + 0.01*r.Float64(), 1 + 0.01*r.Float64()}
	}
	two[7], two[30] = [2]float64{9, 12}, [2]float64{10, 13}
	if _, _, deciding := fit.Slope(two); math.Abs(deciding-2) > 0.1 {
		t.Errorf("%.2f blocks decide, want 2", deciding)
	}
}
