package stats_test

import (
	"fmt"
	"math"
	"testing"

	"heardiff/stats"
)

// Mean, spread and likelihood at the maximum: R 4.2.2, optim; data of Brockhoff 2003 and Bi 2006.
func TestSpreadOfDiscriminatorsAgreesWithR(t *testing.T) {
	for _, r := range table(t, "chance_corrected") {
		got := stats.FitDiscriminators(assessors(t, r["dataset"]), r.float(t, "pguess"), 0.95)
		// A general optimiser finds the location of a flat maximum only to a few parts per million, its value to all digits.
		if math.Abs(got.Mean-r.float(t, "mu_cc")) > 5e-6 || math.Abs(got.Rho-r.float(t, "gamma_cc")) > 2e-5 || math.Abs(got.Likelihood-r.float(t, "logLik")) > 1e-6 {
			t.Errorf("%s: %+v, want %s, %s, %s", r["dataset"], got, r["mu_cc"], r["gamma_cc"], r["logLik"])
		}
		if !(got.Interval[0] < got.Mean || math.IsNaN(got.Interval[0])) || !(got.Interval[1] > got.Mean) {
			t.Errorf("%s: %v outside %v", r["dataset"], got.Mean, got.Interval)
		}
	}
}

func TestSpreadOfDiscriminatorsIsUnknownWhereTheDataLeaveItOpen(t *testing.T) {
	for name, counts := range map[string][]stats.Count{"one listener": {{Correct: 9, Trials: 16}}, "all right": {{Correct: 4, Trials: 4}, {Correct: 5, Trials: 5}}} {
		if got := stats.FitDiscriminators(counts, 0.5, 0.95); !math.IsNaN(got.Mean) {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// Two listeners always right, six who guess: a quarter of the panel hears it.
func ExampleFitDiscriminators() {
	counts := []stats.Count{{Correct: 40, Trials: 40}, {Correct: 40, Trials: 40}, {Correct: 20, Trials: 40}, {Correct: 20, Trials: 40}, {Correct: 20, Trials: 40},
		{Correct: 20, Trials: 40}, {Correct: 20, Trials: 40}, {Correct: 20, Trials: 40}}
	s := stats.FitDiscriminators(counts, 0.5, 0.95)
	fmt.Printf("%.2f of trials are truly known, spread %.1f\n", s.Mean, s.Rho)
	// Output:
	// 0.25 of trials are truly known, spread 1.0
}

func BenchmarkFitDiscriminators(b *testing.B) {
	var counts []stats.Count
	for i := range 10_000 {
		counts = append(counts, stats.Count{Correct: 35 + (i*i)%41, Trials: 100})
	}
	for b.Loop() {
		stats.FitDiscriminators(counts, 0.5, 0.95)
	}
}
