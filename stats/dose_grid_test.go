package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// manyDoses returns n doses over three decades, or from zero on a linear scale, and ten answers at each from a curve.
func manyDoses(n int, linear bool) []DosePoint {
	random := rand.New(rand.NewPCG(5, uint64(n)))
	points := make([]DosePoint, n)
	for i := range points {
		dose := math.Pow(10, 3*random.Float64()-1)
		if linear {
			dose = 20 * random.Float64()
		}
		p := 0.5 + 0.5*(1-math.Exp2(-math.Pow(dose/10, 2)))
		points[i] = DosePoint{Dose: dose, Trials: 10}
		for range 10 {
			if random.Float64() < p {
				points[i].Correct++
			}
		}
	}
	return points
}

// The grid, and the skipped doses at which p is certain, against the plain sum over 3000 doses: slopes and thresholds of all
// sizes, every shape. Far from the best curve, with wrong answers at doses at which nobody can be wrong, the grid may be off
// by a thousandth of the loss of log-likelihood.
func TestTheGridIsTheSum(t *testing.T) {
	worst := 0.0
	for _, cfg := range []FitConfig{{Shape: Weibull}, {Shape: Logistic}, {Shape: Normal}, {Shape: Normal, Linear: true}, {Shape: Weibull, Guess: 0.25, Lapse: 0.03}} {
		f, err := newFitter(manyDoses(3000, cfg.Linear), cfg)
		if err != nil {
			t.Fatal(err)
		}
		plain := *f
		plain.doses.nodes = nil
		_, _, _, best := f.best()
		for at := -1.0; at <= 2; at += 0.29 {
			for slope := f.slopeLo; slope <= f.slopeHi; slope += 0.47 {
				ut := f.low + at*f.span
				got, want := f.ln(ut, slope, f.cfg.Lapse), plain.ln(ut, slope, f.cfg.Lapse)
				// 30,000 trials; at an interval's end, where the log-likelihood has fallen by 1.92, 1e-5 changes the sixth digit.
				off := math.Abs(got - want)
				if worst = math.Max(worst, off/(1e-5+1e-3*(best-want))); worst > 1 {
					t.Fatalf("%+v, threshold %.2f, ln slope %.2f: %.12g, want %.12g (off by %.2g)", cfg, ut, slope, got, want, off)
				}
			}
		}
	}
	t.Logf("worst: %.2g of the tolerance", worst)
}

// 6000 doses once took 7 s of processor time.
func BenchmarkFitOfManyDoses(b *testing.B) {
	points := manyDoses(6000, false)
	for b.Loop() {
		if _, err := FitCurve(points, FitConfig{}); err != nil {
			b.Fatal(err)
		}
	}
}
