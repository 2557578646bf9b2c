package stats_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"heardiff/stats"
)

func TestPlacementAgreesWithNumpyTrialByTrial(t *testing.T) {
	cfg := stats.PlacementConfig{Shape: stats.Logistic, Linear: true, Guess: 0.5, Lapses: []float64{0.02}, Slopes: []float64{0.5, 1, 2, 4}}
	for i := range 25 {
		cfg.Thresholds = append(cfg.Thresholds, -3+0.25*float64(i))
	}
	for i := range 17 {
		cfg.Doses = append(cfg.Doses, -4+0.5*float64(i))
	}
	p, err := stats.NewPlacement(cfg)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range table(t, "placement_scripted") {
		if !near(p.Entropy(), r.float(t, "entropy_before"), 1e-10) {
			t.Errorf("trial %s: entropy %v before, want %s", r["trial"], p.Entropy(), r["entropy_before"])
		}
		dose, left := p.Next()
		if r.float(t, "gap_to_second") > 1e-6 && dose != r.float(t, "x_chosen") || !near(left, r.float(t, "expected_entropy_min"), 1e-10) {
			t.Errorf("trial %s: dose %v, entropy to come %v, want %s, %s", r["trial"], dose, left, r["x_chosen"], r["expected_entropy_min"])
		}
		p = p.After(dose, r.int(t, "correct") == 1)
		q := p.Posterior()
		for column, got := range map[string]float64{"entropy_after": q.Entropy, "post_mean_alpha": q.Threshold, "post_sd_alpha": q.ThresholdSD, "post_geomean_beta": q.Slope} {
			if !near(got, r.float(t, column), 1e-9) {
				t.Errorf("trial %s: %s = %v, want %s", r["trial"], column, got, r[column])
			}
		}
	}
}

// Long runs of the state machine against the Markov chain's stationary distribution, solved as a linear system in the
// reference program. Batches of 2000 trials give the standard errors; the tolerance is four of them.
func TestStaircasesSettleWhereTheirChainDoes(t *testing.T) {
	for _, r := range table(t, "staircase_exact") {
		down, step := r.int(t, "n_down"), r.float(t, "step")
		if down == 1 {
			continue // guessing at 50 % it drifts to the floor and mixes too slowly to be simulated
		}
		s, err := stats.NewStaircase(stats.StaircaseConfig{Down: down, Steps: []float64{step}, Low: -12, High: 12})
		if err != nil {
			t.Fatal(err)
		}
		random := rand.New(rand.NewPCG(uint64(down), math.Float64bits(step)))
		const batches, size = 100, 2000
		var level, reversals []float64
		for range batches {
			sum := 0.0
			if s, err = stats.NewStaircase(stats.StaircaseConfig{Down: down, Start: s.Level(), Steps: []float64{step}, Low: -12, High: 12}); err != nil {
				t.Fatal(err)
			}
			for range size {
				sum += s.Level() / size
				s = s.Next(random.Float64() < 0.5+0.5/(1+math.Exp(-s.Level())))
			}
			level, reversals = append(level, sum), append(reversals, s.Estimate(0))
		}
		for name, c := range map[string]struct {
			of   []float64
			want float64
		}{"level": {level, r.float(t, "mean_level")}, "reversal": {reversals, r.float(t, "mean_of_peak_and_valley")}} {
			m, se := meanAndError(c.of)
			if math.Abs(m-c.want) > 4*se+1e-3 {
				t.Errorf("%d down, step %v: mean %s %.4f ± %.4f, exact %.4f", down, step, name, m, se, c.want)
			}
		}
		if !near(s.Target(), r.float(t, "target_pc"), 1e-11) {
			t.Errorf("%d down: target %v", down, s.Target())
		}
	}
}

func meanAndError(v []float64) (mean, se float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		se += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(se / float64(len(v)-1) / float64(len(v)))
}

// ref: Levitt (1971), table I: 70.7 %, 79.4 % and 84.1 % for two, three and four down.
func TestTargetsAsPublished(t *testing.T) {
	for down, want := range map[int]float64{2: 70.7, 3: 79.4, 4: 84.1} {
		s, err := stats.NewStaircase(stats.StaircaseConfig{Down: down, Steps: []float64{1}})
		if err != nil || math.Abs(100*s.Target()-want) > 0.05 {
			t.Errorf("%d down: %v, %v", down, s.Target(), err)
		}
	}
}

func TestAnEarlierStateKeepsItsOwn(t *testing.T) {
	s, err := stats.NewStaircase(stats.StaircaseConfig{Down: 1, Steps: []float64{1}})
	if err != nil {
		t.Fatal(err)
	}
	s = s.Next(true).Next(false).Next(true)
	a, b := s.Next(false), s.Next(true).Next(false)
	if len(s.Reversals()) != 2 || len(a.Reversals()) != 3 || len(b.Reversals()) != 3 || a.Reversals()[2] == b.Reversals()[2] {
		t.Errorf("%v, %v, %v", s.Reversals(), a.Reversals(), b.Reversals())
	}
	p, err := stats.NewPlacement(stats.PlacementConfig{Thresholds: []float64{1, 2}, Slopes: []float64{2}, Doses: []float64{1, 2}, Guess: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	before := p.Entropy()
	p.After(1, true)
	if p.Entropy() != before {
		t.Error("an answer changed the state before it")
	}
}

func TestAdaptiveProceduresThatCannotBegin(t *testing.T) {
	for name, c := range map[string]stats.StaircaseConfig{
		"no step": {Down: 2}, "a step back": {Down: 2, Steps: []float64{-1}}, "none down": {Steps: []float64{1}},
		"a start out of bounds": {Down: 2, Steps: []float64{1}, Start: 5, High: 4}, "a start that is no number": {Down: 2, Steps: []float64{1}, Start: math.NaN()},
	} {
		if _, err := stats.NewStaircase(c); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	one := []float64{1}
	for name, c := range map[string]stats.PlacementConfig{
		"no dose": {Thresholds: one, Slopes: one}, "a dose of zero": {Thresholds: one, Slopes: one, Doses: []float64{0}},
		"a slope of zero": {Thresholds: one, Slopes: []float64{0}, Doses: one}, "no room": {Thresholds: one, Slopes: one, Doses: one, Guess: 0.5, Lapses: []float64{0.5}},
	} {
		if _, err := stats.NewPlacement(c); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

// procedure simulates one listener and returns the error of the estimate, in log10 of the dose.
type procedure func(answer func(u float64) bool, truth stats.Curve) float64

func staircase(down, trials int) procedure {
	return func(answer func(float64) bool, truth stats.Curve) float64 {
		s, err := stats.NewStaircase(stats.StaircaseConfig{Down: down, Start: 0.8, Steps: []float64{0.2, 0.1}, Low: -1.5, High: 1})
		if err != nil {
			return math.NaN()
		}
		for range trials {
			s = s.Next(answer(s.Level()))
		}
		rise := (s.Target() - truth.Guess) / (1 - truth.Guess - truth.Lapse)
		return s.Estimate(2) - math.Log(rise/(1-rise))/truth.Slope
	}
}

func placed(trials int) procedure {
	c := stats.PlacementConfig{Shape: stats.Logistic, Guess: 0.5, Slopes: []float64{3, 5, 8, 13, 21}, Lapses: []float64{0.01, 0.05}}
	for i := range 31 {
		c.Thresholds = append(c.Thresholds, math.Pow(10, -1.5+0.1*float64(i)))
	}
	for i := range 11 {
		c.Doses = append(c.Doses, math.Pow(10, -1+0.2*float64(i)))
	}
	start, err := stats.NewPlacement(c)
	return func(answer func(float64) bool, _ stats.Curve) float64 {
		if err != nil {
			return math.NaN()
		}
		p := start
		for range trials {
			dose, _ := p.Next()
			p = p.After(dose, answer(math.Log10(dose)))
		}
		return math.Log10(p.Posterior().Threshold)
	}
}

// The figures of the package comment hold to 0.02, for a listener of slope 8 per decade with threshold 0 who starts 0.8
// above it.
func TestThePublishedBiasOfAdaptiveProcedures(t *testing.T) {
	page, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		trials int
		lapse  float64
		run    procedure
		runs   int
	}{
		{"one up, two down", 60, 0, staircase(2, 60), 2000}, {"one up, two down", 60, 0.05, staircase(2, 60), 2000},
		{"one up, three down", 60, 0, staircase(3, 60), 2000}, {"one up, three down", 60, 0.05, staircase(3, 60), 2000},
		{"Bayesian placement", 30, 0, placed(30), 100}, {"Bayesian placement", 60, 0, placed(60), 100},
		{"Bayesian placement", 60, 0.05, placed(60), 100},
	} {
		bias, spread := simulate(c.run, c.lapse, c.runs)
		row := fmt.Sprintf("%s %d %g ", c.name, c.trials, c.lapse)
		_, rest, found := strings.Cut(strings.Join(strings.Fields(string(page)), " "), row)
		var wantBias, wantSpread float64
		if _, err := fmt.Sscanf(strings.ReplaceAll(rest, "−", "-"), "%f %f", &wantBias, &wantSpread); !found || err != nil ||
			math.Abs(bias-wantBias) > 0.02 || math.Abs(spread-wantSpread) > 0.02 {
			t.Errorf("%s%.2f %.2f is not what the package comment says", row, bias, spread)
		}
	}
}

func simulate(run procedure, lapse float64, runs int) (bias, spread float64) {
	random := rand.New(rand.NewPCG(21, 1))
	truth := stats.Curve{Shape: stats.Logistic, Guess: 0.5, Lapse: lapse, Threshold: 1, Slope: 8}
	var missed []float64
	for range runs {
		missed = append(missed, run(func(u float64) bool { return random.Float64() < truth.At(math.Pow(10, u)) }, truth))
	}
	bias, se := meanAndError(missed)
	return bias, se * math.Sqrt(float64(runs))
}

// Two right answers move down, a wrong one up: the first reversal is at the level of the wrong answer.
func ExampleStaircase() {
	s, err := stats.NewStaircase(stats.StaircaseConfig{Down: 2, Start: 3, Steps: []float64{1}})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, correct := range []bool{true, true, true, true, false} {
		fmt.Print(s.Level(), " ")
		s = s.Next(correct)
	}
	fmt.Printf("then %v; reversals %v; target %.3f\n", s.Level(), s.Reversals(), s.Target())
	// Output: 3 3 2 2 1 then 2; reversals [1]; target 0.707
}

// Two equally likely thresholds, one below all doses and one between them: the entropy is ln 2. Only the dose in between
// distinguishes them.
func ExamplePlacement() {
	p, err := stats.NewPlacement(stats.PlacementConfig{Shape: stats.Logistic, Thresholds: []float64{0.01, 10}, Slopes: []float64{50}, Doses: []float64{1, 1000}})
	if err != nil {
		fmt.Println(err)
		return
	}
	dose, left := p.Next()
	fmt.Printf("%.3f unknown; play %v: %.3f left\n", p.Entropy(), dose, left)
	// Output: 0.693 unknown; play 1: 0.000 left
}

func BenchmarkNextDose(b *testing.B) {
	points := []stats.DosePoint{{Dose: 1, Correct: 11, Trials: 20}, {Dose: 3, Correct: 14, Trials: 20}, {Dose: 10, Correct: 19, Trials: 20}}
	for range b.N {
		if _, err := stats.NextDose(points, stats.FitConfig{FreeLapse: true}); err != nil {
			b.Fatal(err)
		}
	}
}
