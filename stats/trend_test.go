package stats_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"heardiff/stats"
)

func floats(t *testing.T, text string) []float64 {
	t.Helper()
	var all []float64
	for _, w := range strings.Fields(text) {
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, v)
	}
	return all
}

// R enumerates tables and orders; this package builds up the distributions.
func TestTrendsAgreeWithR(t *testing.T) {
	for _, r := range table(t, "trend") {
		x, y, want := floats(t, r["x"]), floats(t, r["y"]), floats(t, r["value"])
		got := map[string]float64{}
		switch r["kind"] {
		case "armitage", "exact":
			var points []stats.DosePoint
			for i, n := range floats(t, r["n"]) {
				points = append(points, stats.DosePoint{Dose: x[i], Correct: int(y[i]), Trials: int(n)})
			}
			a, err := stats.CochranArmitage(points, true)
			if err != nil {
				t.Fatal(err)
			}
			got["p_one"], got["p_two"] = a.PExact, a.PExactTwoSided
			if r["kind"] == "armitage" {
				got["p_one"], got["p_two"] = a.P, a.PTwoSided
				if !near(a.Z, want[0], 1e-12) {
					t.Errorf("%s: z %v, want %v", r["name"], a.Z, want[0])
				}
			}
		case "kendall":
			k := stats.Kendall(x, y)
			got["p_one"], got["p_two"] = k.Greater, k.P
			if !near(k.Tau, want[0], 1e-12) || len(want) > 1 && k.S != int(want[1]) || k.Exact == (r["name"] == "attitude") {
				t.Errorf("%s: %+v, want %v", r["name"], k, want)
			}
		case "isotonic":
			for i, v := range stats.Isotonic(y, floats(t, r["n"])) {
				if !near(v, want[i], 1e-12) {
					t.Errorf("%s %d: %v, want %v", r["name"], i+1, v, want[i])
				}
			}
		}
		for column, v := range got {
			if !near(v, r.float(t, column), 1e-10) {
				t.Errorf("%s, %s: %s = %v, want %s", r["kind"], r["name"], column, v, r[column])
			}
		}
	}
}

// The data of Fleiss (1981), page 139, as R's help for prop.trend.test prints them: χ² 8.2249, p 0.004132. R's help
// for cor.test (Hollander & Wolfe 1973): τ 0.4444, T = 26 concordant pairs, two-sided p 0.1194.
func TestTrendsAsPublished(t *testing.T) {
	var points []stats.DosePoint
	for i, k := range []int{83, 90, 129, 70} {
		points = append(points, stats.DosePoint{Dose: float64(i + 1), Correct: k, Trials: []int{86, 93, 136, 82}[i]})
	}
	a, err := stats.CochranArmitage(points, true)
	if err != nil || math.Abs(a.Chi2-8.2249) > 5e-5 || math.Abs(a.PTwoSided-0.004132) > 5e-7 {
		t.Errorf("%+v, %v", a, err)
	}
	k := stats.Kendall([]float64{44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1}, []float64{2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8})
	if concordant := (36 + k.S) / 2; math.Abs(k.Tau-0.4444) > 5e-5 || concordant != 26 || math.Abs(k.P-0.1194) > 5e-5 {
		t.Errorf("%+v, %d concordant", k, concordant)
	}
}

// ref: R 4.2.2, pool-adjacent-violators of 10 9 12 11 16 15 20 of 20 (the sixth of 16), unbounded and bounded below by 1/2.
func TestTheIsotonicCurveOfCounts(t *testing.T) {
	var points []stats.DosePoint
	for i, k := range []int{20, 15, 16, 11, 12, 9, 10} { // from the highest dose down
		points = append(points, stats.DosePoint{Dose: float64(7 - i), Correct: k, Trials: []int{20, 16, 20, 20, 20, 20, 20}[i], Listener: fmt.Sprint(i)})
	}
	for floor, want := range map[float64][]float64{0: {0.475, 0.475, 0.575, 0.575, 0.8, 0.9375, 1}, 0.5: {0.5, 0.5, 0.575, 0.575, 0.8, 0.9375, 1}} {
		curve, err := stats.IsotonicCurve(points, floor)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range curve {
			if !near(p.Proportion, want[i], 1e-12) || p.Dose != float64(i+1) {
				t.Errorf("floor %v: %+v, want %v", floor, p, want[i])
			}
		}
	}
}

// Two listeners whose accuracy does not depend on the dose, the better of whom heard the high dose more often: there is a
// trend in the totals, none within listeners.
func TestTrapATrendMadeByWhoCameToWhichDose(t *testing.T) {
	points := []stats.DosePoint{
		{Dose: 1, Correct: 20, Trials: 40, Listener: "a"}, {Dose: 10, Correct: 5, Trials: 10, Listener: "a"},
		{Dose: 1, Correct: 9, Trials: 10, Listener: "b"}, {Dose: 10, Correct: 36, Trials: 40, Listener: "b"}}
	apart, err := stats.CochranArmitage(points, false)
	if err != nil || math.Abs(apart.Z) > 1e-12 || apart.Listeners != 2 || !math.IsNaN(apart.PExact) {
		t.Errorf("kept apart: %+v, %v", apart, err)
	}
	for i := range points {
		points[i].Listener = ""
	}
	if added, _ := stats.CochranArmitage(points, false); added.P > 0.01 || !(added.PExact < 0.01) {
		t.Errorf("added up: %+v", added)
	}
}

// Each listener at one dose of their own: nothing to compare within listeners. This once looped forever.
func TestNoTrendWhereNobodyCameToTwoDoses(t *testing.T) {
	a, err := stats.CochranArmitage([]stats.DosePoint{{Dose: 1, Correct: 5, Trials: 10, Listener: "a"}, {Dose: 2, Correct: 9, Trials: 10, Listener: "b"}}, false)
	if err != nil || !math.IsNaN(a.Z) || !math.IsNaN(a.P) || !math.IsNaN(a.PTwoSided) {
		t.Errorf("%+v, %v", a, err)
	}
	if a, err = stats.CochranArmitage([]stats.DosePoint{{Dose: 1, Correct: 10, Trials: 10}, {Dose: 2, Correct: 9, Trials: 9}}, false); err != nil || !math.IsNaN(a.P) {
		t.Errorf("all right: %+v, %v", a, err)
	}
}

// Without a trend the exact p is at or below α in at most α of the runs, and the asymptotic p is close: 4 standard errors of
// 4000 runs at 0.05 are 0.014.
func TestTrendKeepsItsErrorRate(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	const runs = 4000
	exact, normal := 0, 0
	for range runs {
		var points []stats.DosePoint
		for d := range 4 {
			k := 0
			for range 8 {
				k += random.IntN(2)
			}
			points = append(points, stats.DosePoint{Dose: math.Pow(2, float64(d)), Correct: k, Trials: 8})
		}
		a, err := stats.CochranArmitage(points, false)
		if err != nil {
			t.Fatal(err)
		}
		if a.PExact <= 0.05 {
			exact++
		}
		if a.P <= 0.05 {
			normal++
		}
	}
	if e := float64(exact) / runs; e > 0.05+0.014 || e < 0.02 {
		t.Errorf("the exact p is at or below 0.05 in %.4f", e)
	}
	if n := float64(normal) / runs; math.Abs(n-0.05) > 0.014 {
		t.Errorf("the asymptotic p is at or below 0.05 in %.4f", n)
	}
}

// Three doses, 0, 1 and 2 of two. By hand: Σ s·(k − n/2) = −1·(0 − 1) + 0 + 1·(2 − 1) = 2, variance 1/4·(2·1 + 2·1) = 1.
// Of the C(6,3) = 20 tables weighted by their ways, only this one reaches Σ s·k = 2: 1·C(2,1)·1 = 2 ways of 20.
func ExampleCochranArmitage() {
	t, err := stats.CochranArmitage([]stats.DosePoint{{Dose: 1, Trials: 2}, {Dose: 2, Correct: 1, Trials: 2}, {Dose: 3, Correct: 2, Trials: 2}}, true)
	fmt.Printf("z %.0f, exact p %.2f, %v\n", t.Z, t.PExact, err)
	// Output: z 2, exact p 0.10, <nil>
}

// One of the 3! orders has all three pairs concordant.
func ExampleKendall() {
	k := stats.Kendall([]float64{1, 2, 3}, []float64{0.5, 0.6, 0.9})
	fmt.Printf("tau %.0f, one-sided p %.4f = 1/6, two-sided %.4f\n", k.Tau, k.Greater, k.P)
	// Output: tau 1, one-sided p 0.1667 = 1/6, two-sided 0.3333
}

// 0.7 before 0.5 violates the order: both become their weighted mean, (0.7·10 + 0.5·30)/40.
func ExampleIsotonic() {
	fmt.Printf("%.2f\n", stats.Isotonic([]float64{0.5, 0.7, 0.5, 0.9}, []float64{10, 10, 30, 20}))
	// Output: [0.50 0.55 0.55 0.90]
}

func BenchmarkTrend(b *testing.B) {
	x, y := make([]float64, 10_000), make([]float64, 10_000)
	var listeners []stats.DosePoint
	for i := range x {
		x[i], y[i] = float64(i%101), float64(i*i%97)
		listeners = append(listeners, stats.DosePoint{Dose: float64(1 + i%5), Correct: 10 + i%7, Trials: 20, Listener: strconv.Itoa(i / 5)})
	}
	b.Run("Kendall/10000", func(b *testing.B) {
		for range b.N {
			stats.Kendall(x, y)
		}
	})
	b.Run("CochranArmitage/2000 listeners", func(b *testing.B) {
		for range b.N {
			if _, err := stats.CochranArmitage(listeners, false); err != nil {
				b.Fatal(err)
			}
		}
	})
	one := []stats.DosePoint{{Dose: 1, Correct: 40, Trials: 80}, {Dose: 2.3, Correct: 50, Trials: 80}, {Dose: 5, Correct: 60, Trials: 80}, {Dose: 7, Correct: 60, Trials: 80}, {Dose: 9, Correct: 70, Trials: 80}}
	b.Run("exact/400 trials", func(b *testing.B) {
		for range b.N {
			if _, err := stats.CochranArmitage(one, true); err != nil {
				b.Fatal(err)
			}
		}
	})
}
