package stats

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// simulatedListeners draws listeners whose log10 thresholds are normal about 0.6.
func simulatedListeners(random *rand.Rand, listeners, trials int, sd float64) []DosePoint {
	var points []DosePoint
	for l := range listeners {
		c := Curve{Shape: Logistic, Guess: 0.5, Threshold: math.Pow(10, 0.6+sd*random.NormFloat64()), Slope: 8}
		for _, dose := range []float64{1, 2, 4, 8, 16} {
			k := 0
			for range trials {
				if random.Float64() < c.At(dose) {
					k++
				}
			}
			points = append(points, DosePoint{Dose: dose, Correct: k, Trials: trials, Listener: fmt.Sprint(l)})
		}
	}
	return points
}

// The integral against the trapezoidal rule on 5001 nodes over ± 9 standard deviations, for several shapes, slopes, spreads
// and numbers of trials. Worst difference seen: 9e-8.
func TestTheIntegralOverThresholds(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 1))
	worst := 0.0
	for shape, slope := range map[Shape]float64{Weibull: 2.5, Logistic: 8, Normal: 5} {
		for _, sd := range []float64{0.02, 0.3, 0.8} {
			for _, trials := range []int{2, 10, 40} {
				f, points := FitConfig{Shape: shape}, simulatedListeners(random, 4, trials, sd)
				fitter, err := newFitter(points, f)
				if err != nil {
					t.Fatal(err)
				}
				r, _, err := newRandomFitter(fitter, points)
				if err != nil {
					t.Fatal(err)
				}
				at := params{0.6, math.Log(sd), math.Log(slope)}
				l := r.lattice(at)
				for i := range r.people {
					got, _ := l.one(&r.people[i], sd, make([]float64, 2*len(l.z)))
					worst = math.Max(worst, math.Abs(got-r.people[i].many*trapezium(r, &r.people[i], at)))
				}
			}
		}
	}
	if worst > 1e-6 {
		t.Errorf("a listener's log-likelihood is off by up to %.2g", worst)
	}
}

func trapezium(r *randomFitter, p *person, at params) float64 {
	const steps = 5_000
	sum := math.Inf(-1)
	for i := range steps + 1 {
		z := 18*float64(i)/steps - 9
		c := Curve{Shape: r.shape, Guess: r.guess, Linear: true}
		ln := 0.0
		for d, at0 := range p.dose {
			v := math.Exp(at[atSlope]) * (r.doses[at0] - at[atMean] - math.Exp(at[atSD])*z)
			ln += bernoulli(p.k[d], p.n[d], clampRate(c.Guess+(1-c.Guess)*c.Shape.rise(v)))
		}
		sum = lnAdd(sum, ln-z*z/2)
	}
	return sum + math.Log(18.0/steps) - 0.5*math.Log(2*math.Pi)
}

func TestTheGradientIsTheSlope(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 2))
	points := simulatedListeners(random, 8, 12, 0.3)
	f, err := newFitter(points, FitConfig{Shape: Logistic})
	if err != nil {
		t.Fatal(err)
	}
	r, _, err := newRandomFitter(f, points)
	if err != nil {
		t.Fatal(err)
	}
	at := params{0.5, math.Log(0.2), math.Log(6)}
	_, g := r.ln(at)
	for j := range at {
		const h = 1e-4
		up, down := at, at
		up[j] += h
		down[j] -= h
		a, _ := r.ln(up)
		b, _ := r.ln(down)
		if d := (a - b) / (2 * h); math.Abs(d-g[j]) > 1e-4*(1+math.Abs(d)) {
			t.Errorf("parameter %d: gradient %v, difference %v", j, g[j], d)
		}
	}
}

var full = flag.Bool("full", false, "many more simulated listeners: some minutes")

// The estimated spread is unbiased and the intervals have their nominal coverage: fewer than 24 of 30 runs happen by chance
// about once in 1000. With -full, 400 runs and four standard errors: there the intervals contained threshold, spread and
// slope in 380, 369 and 378 runs.
func TestRandomThresholdsAreRecovered(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 3))
	runs, least, four := 30, 24, 4*0.25/math.Sqrt(12*30)
	if *full {
		runs, least, four = 400, 362, 4*0.25/math.Sqrt(12*400)
	}
	mean, spread, steep, held := 0.0, 0.0, 0.0, [3]int{}
	for range runs {
		r, err := FitRandomThresholds(simulatedListeners(random, 12, 12, 0.25), FitConfig{Shape: Logistic})
		if err != nil {
			t.Fatal(err)
		}
		mean += math.Log10(r.Threshold) / float64(runs)
		spread += r.BetweenSD / float64(runs)
		steep += math.Log(r.Slope) / float64(runs)
		held[0] += inside(r.ThresholdInterval, math.Pow(10, 0.6))
		held[1] += inside(r.BetweenSDInterval, 0.25)
		held[2] += inside(r.SlopeInterval, 8)
	}
	t.Logf("mean threshold %.4f, spread %.4f, slope %.3f; intervals hold %v of %d", mean, spread, math.Exp(steep), held, runs)
	for i, name := range []string{"threshold", "spread", "slope"} {
		if held[i] < least {
			t.Errorf("the interval of the %s holds the truth in %d of %d", name, held[i], runs)
		}
	}
	// The standard error of the mean is 0.25/√(12·runs), and a quarter more for the noise of the answers; the
	// maximum-likelihood spread of twelve listeners is biased by about −1/24 of itself.
	if math.Abs(mean-0.6) > 1.25*four || math.Abs(spread-0.25*23/24) > four {
		t.Errorf("mean threshold %.4f, want 0.6; spread %.4f, want about 0.24", mean, spread)
	}
}

func inside(iv [2]float64, x float64) int {
	if (iv[0] <= x || math.IsNaN(iv[0])) && (x <= iv[1] || math.IsNaN(iv[1])) {
		return 1
	}
	return 0
}

// Identical listeners: the estimated spread is 0 in half the runs or somewhat more, and p at or below 0.05 in about 5 %, so
// 1.5 ± 4 of 30.
func TestListenersAllAlikeShowNoSpread(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 4))
	zero, low := 0, 0
	for range 30 {
		r, err := FitRandomThresholds(simulatedListeners(random, 10, 12, 0), FitConfig{Shape: Logistic})
		if err != nil {
			t.Fatal(err)
		}
		if r.BetweenSD == 0 {
			zero++
		}
		if r.P <= 0.05 {
			low++
		}
		if r.BetweenSDInterval[0] != 0 && r.P > 0.06 {
			t.Errorf("p %v, yet the interval of the spread starts at %v", r.P, r.BetweenSDInterval[0])
		}
	}
	t.Logf("no spread in %d, p at or below 0.05 in %d of 30", zero, low)
	if zero < 9 || zero > 27 || low > 6 {
		t.Errorf("no spread in %d, p at or below 0.05 in %d of 30", zero, low)
	}
}

// Four listeners with the same answers: the model with differing thresholds contains the common fit, so its intervals are
// no shorter. A local search from the best fit alone misses a second maximum, which made the interval up to 18 times
// shorter.
func TestListenersAllAlikeAreKnownNoBetterThanAsOne(t *testing.T) {
	for _, c := range []struct {
		shape   Shape
		correct []int // at doses 1, 2, 4, …
		trials  int
	}{
		{Weibull, []int{5, 5}, 5}, {Weibull, []int{5, 7, 9, 10}, 10}, {Weibull, []int{1, 2, 2, 2, 2}, 2}, {Logistic, []int{1, 1, 2, 1, 2}, 2},
		{Logistic, []int{2, 0, 2}, 2}, {Normal, []int{6, 4, 7}, 10},
	} {
		var points []DosePoint
		for l := range 4 {
			for i, k := range c.correct {
				points = append(points, DosePoint{Dose: math.Pow(2, float64(i)), Correct: k, Trials: c.trials, Listener: fmt.Sprint(l)})
			}
		}
		cfg := FitConfig{Shape: c.shape}
		one, err := FitCurve(points, cfg)
		if err != nil {
			t.Fatal(err)
		}
		each, err := FitRandomThresholds(points, cfg)
		if err != nil {
			t.Fatal(err)
		}
		for name, iv := range map[string][2][2]float64{"threshold": {one.ThresholdInterval, each.ThresholdInterval}, "slope": {one.SlopeInterval, each.SlopeInterval}} {
			for end, sign := range []float64{-1, 1} {
				// Ends are found to 1e-6 of the log-likelihood.
				if one, each := iv[0][end], iv[1][end]; math.IsNaN(one) && !math.IsNaN(each) || sign*(math.Log(each)-math.Log(one)) < -1e-5 {
					t.Errorf("%s %v of %d: %s %v as one, %v each", c.shape, c.correct, c.trials, name, iv[0], iv[1])
				}
			}
		}
		if math.IsNaN(one.Slope) != math.IsNaN(each.Slope) {
			t.Errorf("%s %v of %d: slope %v as one, %v each", c.shape, c.correct, c.trials, one.Slope, each.Slope)
		}
	}
}

// A search may try a standard deviation of e³² at a slope of e⁸, as one did for four identical listeners: that number of
// nodes overflows an int.
func TestTheSearchMayTryAnyDeviation(t *testing.T) {
	points := simulatedListeners(rand.New(rand.NewPCG(5, 6)), 4, 12, 0)
	f, err := newFitter(points, FitConfig{})
	if err != nil {
		t.Fatal(err)
	}
	r, _, err := newRandomFitter(f, points)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []params{{0.6, 32, 8}, {0.6, 400, 400}} {
		if ln, _ := r.ln(at); ln > 0 || math.IsNaN(ln) {
			t.Errorf("ln L = %v at %v", ln, at)
		}
	}
}

func BenchmarkRandomThresholds(b *testing.B) {
	for _, n := range []int{10, 100, 1000, 10_000} {
		points := simulatedListeners(rand.New(rand.NewPCG(5, 5)), n, 10, 0.25)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for range b.N {
				if _, err := FitRandomThresholds(points, FitConfig{Shape: Logistic}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
