package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestAStepHasNoSlopeToGive(t *testing.T) {
	r, err := FitCurve([]DosePoint{{1, 5, 10, ""}, {2, 5, 10, ""}, {4, 10, 10, ""}, {8, 10, 10, ""}}, FitConfig{})
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(r.Slope) || !math.IsNaN(r.SlopeInterval[1]) || !r.Warned(StepCurve) {
		t.Errorf("a perfect step gave the slope %v, %v, warnings %q", r.Slope, r.SlopeInterval, r.Texts)
	}
}

func TestTheShortSearchOfTheBootstrapMissesNoLikelihood(t *testing.T) {
	for _, free := range []bool{false, true} {
		f, err := newFitter(simulatedDoses(7), FitConfig{Shape: Logistic, FreeLapse: free})
		if err != nil {
			t.Fatal(err)
		}
		_, _, _, wide := f.best()
		// The start is the true curve, as in the bootstrap. A deviance is printed to two decimals; 1e-6 is far below.
		if short := f.near(0.6, math.Log(6), 0.02); math.Abs(short-wide) > 1e-6 {
			t.Errorf("lapse free %v: short search %.9f, wide search %.9f", free, short, wide)
		}
	}
}

func TestTheBootstrapIsUniformWhereTheCurveIsTrue(t *testing.T) {
	// 30 data sets from the fitted family: p ≤ 0.5 has probability 1/2, so 15 ± 8 of them at three standard deviations.
	low := 0
	for seed := range uint64(30) {
		r, err := FitCurve(simulatedDoses(seed), FitConfig{Shape: Logistic, Bootstrap: 49, Seed: seed})
		if err != nil {
			t.Fatal(err)
		}
		if r.P <= 0.5 {
			low++
		}
	}
	if low < 7 || low > 23 {
		t.Errorf("%d of 30 bootstrap p-values at or below 0.5", low)
	}
}

// simulatedDoses draws 40 trials at each of six doses from a logistic curve: threshold 10^0.6, slope 6, lapse 0.
func simulatedDoses(seed uint64) []DosePoint {
	random := rand.New(rand.NewPCG(seed, 9))
	c := Curve{Shape: Logistic, Guess: 0.5, Threshold: math.Pow(10, 0.6), Slope: 6}
	var points []DosePoint
	for _, dose := range []float64{1, 2, 3, 5, 8, 12} {
		k := 0
		for range 40 {
			if random.Float64() < c.At(dose) {
				k++
			}
		}
		points = append(points, DosePoint{Dose: dose, Correct: k, Trials: 40})
	}
	return points
}
