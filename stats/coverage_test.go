package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// coverage is one interval in one situation, and its coverage as stated in the package comment.
type coverage struct {
	name   string
	stated float64
	runs   int // with -full ten times as many
	holds  func(*rand.Rand) bool
}

// The coverage of intervals at 0.95 that the package comment states, simulated, within four standard errors.
func TestCoverage(t *testing.T) {
	for i, c := range coverages() {
		random := rand.New(rand.NewPCG(95, uint64(i)))
		runs := c.runs
		if *full {
			runs *= 10
		}
		held := 0
		for range runs {
			if c.holds(random) {
				held++
			}
		}
		got := float64(held) / float64(runs)
		se := math.Sqrt(c.stated * (1 - c.stated) / float64(runs))
		t.Logf("%-60s %.4f of %d", c.name, got, runs)
		if math.Abs(got-c.stated) > 4*se+0.0006 { // stated to three places
			t.Errorf("%s covers %.4f of %d, stated %.3f ± %.4f", c.name, got, runs, c.stated, se)
		}
	}
}

func coverages() []coverage {
	var all []coverage
	for _, v := range []struct {
		listeners int
		rho       float64
		stated    [2]float64
	}{{4, 0, [2]float64{0.998, 0.998}}, {4, 0.2, [2]float64{0.965, 0.991}}, {12, 0, [2]float64{0.976, 0.971}}, {12, 0.2, [2]float64{0.953, 0.942}}} {
		all = append(all,
			coverage{fmt.Sprintf("beta-binomial mean, %d listeners of 20, rho %g", v.listeners, v.rho), v.stated[0], 250, func(r *rand.Rand) bool {
				return inside(FitBetaBinomial(betaCounts(r, v.listeners, 0.65, v.rho, func(p float64) float64 { return p }), 0.95).Interval, 0.65) == 1
			}},
			coverage{fmt.Sprintf("mean of discriminators, %d listeners of 20, rho %g", v.listeners, v.rho), v.stated[1], 100, func(r *rand.Rand) bool {
				return inside(FitDiscriminators(betaCounts(r, v.listeners, 0.3, v.rho, func(pd float64) float64 { return FromDiscriminators(pd, 0.5) }), 0.5, 0.95).Interval, 0.3) == 1
			}})
	}
	for _, v := range []struct {
		listeners int
		rho       float64
		stated    float64
	}{{3, 0.2, 0.959}, {8, 0.2, 0.95}} {
		all = append(all, coverage{fmt.Sprintf("group difference, %d + %d listeners of 20, rho %g", v.listeners, v.listeners, v.rho), v.stated, 2000, func(r *rand.Rand) bool {
			same := func(p float64) float64 { return p }
			d := welch(proportions(betaCounts(r, v.listeners, 0.55, v.rho, same)), proportions(betaCounts(r, v.listeners, 0.7, v.rho, same)), 0.95)
			return inside(d, 0.15) == 1
		}})
	}
	for _, v := range []struct {
		trials int
		stated [2]float64
	}{{10, [2]float64{0.95, 0.95}}, {40, [2]float64{0.95, 0.95}}} {
		fit := func(r *rand.Rand) Fit {
			f, err := FitCurve(simulatedListeners(r, 1, v.trials, 0), FitConfig{Shape: Logistic})
			if err != nil {
				panic(err)
			}
			return f
		}
		all = append(all,
			coverage{fmt.Sprintf("threshold, five doses of %d", v.trials), v.stated[0], 60, func(r *rand.Rand) bool { return inside(fit(r).ThresholdInterval, math.Pow(10, 0.6)) == 1 }},
			coverage{fmt.Sprintf("slope, five doses of %d", v.trials), v.stated[1], 60, func(r *rand.Rand) bool { return inside(fit(r).SlopeInterval, 8) == 1 }})
	}
	return all
}

// The coverage that the package comment states for thresholds that differ: four listeners at five doses of 12 trials. One fit per run
// gives all three intervals; 200 runs take a minute.
func TestCoverageOfDifferingThresholds(t *testing.T) {
	if !*full {
		t.Skip("with -full")
	}
	const runs = 200
	stated := []struct {
		name     string
		coverage float64
	}{{"mean threshold", 0.93}, {"deviation between listeners", 0.81}, {"slope of each listener", 0.93}}
	random, held := rand.New(rand.NewPCG(95, 100)), [3]int{}
	for range runs {
		f, err := FitRandomThresholds(simulatedListeners(random, 4, 12, 0.25), FitConfig{Shape: Logistic})
		if err != nil {
			t.Fatal(err)
		}
		held[0] += inside(f.ThresholdInterval, math.Pow(10, 0.6))
		held[1] += inside(f.BetweenSDInterval, 0.25)
		held[2] += inside(f.SlopeInterval, 8)
	}
	for i, v := range stated {
		got, se := float64(held[i])/runs, math.Sqrt(v.coverage*(1-v.coverage)/runs)
		t.Logf("%-30s %.3f of %d", v.name, got, runs)
		if math.Abs(got-v.coverage) > 3*se+0.005 { // stated to two places
			t.Errorf("the interval of the %s covers %.3f of %d, stated %.2f ± %.3f", v.name, got, runs, v.coverage, se)
		}
	}
}

// betaCounts draws listeners of 20 trials each, whose chances come from a beta distribution.
func betaCounts(r *rand.Rand, listeners int, mean, rho float64, chance func(float64) float64) []Count {
	counts := make([]Count, listeners)
	for i := range counts {
		v := mean
		if rho > 0 {
			v = distuv.Beta{Alpha: mean * (1 - rho) / rho, Beta: (1 - mean) * (1 - rho) / rho, Src: r}.Rand()
		}
		counts[i] = Count{0, 20}
		for range 20 {
			if r.Float64() < chance(v) {
				counts[i].Correct++
			}
		}
	}
	return counts
}

// The minimum and mean coverage of intervals of one proportion at 0.95 that the package comment states, summed over every
// count, for p from 0.5 to 0.955 in steps of 0.005.
func TestCoverageOfProportionsExactly(t *testing.T) {
	for n, stated := range map[int][5][2]float64{
		20:  {{0.958, 0.975}, {0.925, 0.953}, {0.896, 0.949}, {0.929, 0.959}, {0.829, 0.944}},
		100: {{0.954, 0.963}, {0.927, 0.950}, {0.933, 0.950}, {0.933, 0.951}, {0.927, 0.949}},
	} {
		of := make([][5][2]float64, n+1)
		for k := range of {
			v, err := ProportionIntervals(k, n, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			of[k] = [5][2]float64{v.ClopperPearson, v.Wilson, v.Jeffreys, v.MidP, v.Likelihood}
		}
		const steps = 92
		least, mean := [5]float64{1, 1, 1, 1, 1}, [5]float64{}
		for step := range steps {
			p, held := 0.5+0.005*float64(step), [5]float64{}
			for k, ivs := range of {
				for i, iv := range ivs {
					held[i] += math.Exp(lnBinomialPoint(k, n, p)) * float64(inside(iv, p))
				}
			}
			for i := range held {
				least[i], mean[i] = math.Min(least[i], held[i]), mean[i]+held[i]/steps
			}
		}
		for i, name := range []string{"Clopper-Pearson", "Wilson", "Jeffreys", "mid-p", "likelihood"} {
			if got := [2]float64{least[i], mean[i]}; math.Abs(got[0]-stated[i][0]) > 0.0006 || math.Abs(got[1]-stated[i][1]) > 0.0006 {
				t.Errorf("%s, %d trials: least %.4f and mean %.4f, stated %v", name, n, got[0], got[1], stated[i])
			}
		}
	}
}

// The minimum coverage for duplicate pairs at 0.95 that the package comment states, over d′ from 0 to 3 and false-alarm
// rates of 0.57, 0.26 and 0.09 (τ 0.8, 1.6 and 2.4), summed over every table.
func TestCoverageOfPairsExactly(t *testing.T) {
	for n, stated := range map[int][3]float64{10: {0.919, 0.923, 0.926}, 20: {0.934, 0.918, 0.932}} {
		of := map[[2]int]PairScore{}
		for hits := range n + 1 {
			for alarms := range n + 1 {
				s, err := ScorePairs(Pairs{hits, n - hits, alarms, n - alarms}, ScoreConfig{})
				if err != nil {
					t.Fatal(err)
				}
				of[[2]int{hits, alarms}] = s
			}
		}
		least := [3]float64{1, 1, 1}
		for _, d := range []float64{0, 0.5, 1, 2, 3} {
			for _, tau := range []float64{0.8, 1.6, 2.4} {
				h, f := differencingRates(d, tau)
				independent := normalCDF(normalQuantile(f) + zOf(d))
				held := [3]float64{}
				for k, s := range of {
					alarms := lnBinomialPoint(k[1], n, f)
					differs := math.Exp(alarms + lnBinomialPoint(k[0], n, h))
					held[0] += differs * float64(inside(s.DPrimeDifferencingInterval, d))
					held[1] += math.Exp(alarms+lnBinomialPoint(k[0], n, independent)) * float64(inside(s.DPrimeInterval, d))
					held[2] += differs * float64(inside(s.CriterionInterval, tau))
				}
				for i := range held {
					least[i] = math.Min(least[i], held[i])
				}
			}
		}
		for i, name := range []string{"differencing d'", "independent d'", "criterion"} {
			if math.Abs(least[i]-stated[i]) > 0.0006 {
				t.Errorf("%s, %d pairs of either kind: least %.4f, stated %v", name, n, least[i], stated[i])
			}
		}
	}
}
