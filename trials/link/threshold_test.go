package link_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// ranThreshold is a threshold run of one listener, whose threshold is known, on random jitter from 1 ps to 1 µs RMS (120 dB, every 5 dB): as many
// trials at each rung, by the formula of the Weibull function. What a dose changes lies 150 dB below the music at 1 ps.
func ranThreshold(listener, group, quantity string, thresholdDB, slope float64, each int, random *rand.Rand) link.Heard {
	plan := trials.Plan{ID: "t", Design: trials.TwoInterval, Alpha: 0.05, SmallestEffect: 0.3, Threshold: &trials.Threshold{}}
	track := trials.Track{Name: quantity + " of a test", Quantity: quantity, Unit: "ps RMS", Limit: 1000, Prior: stats.PriorFor(0, 120)}
	h := link.Heard{Listener: listener, Group: group}
	h.Session = "s-" + listener + quantity
	for i := range 25 {
		level := 5 * float64(i)
		c := trials.Comparison{Name: fmt.Sprintf("%s %d", quantity, i), Kind: trials.Graded, A: "direct", B: "direct", Excerpt: "e", AudioA: "aa", AudioB: fmt.Sprint(i)}
		plan.Comparisons = append(plan.Comparisons, c)
		track.Rungs = append(track.Rungs, trials.Rung{Comparison: c.Name, Dose: math.Pow(10, level/20), LevelDB: level, ChangeDB: level - 150})
		chance := 1 - 0.5*math.Pow(2, -math.Pow(10, slope*(level-thresholdDB)/20))
		tally := trials.Tally{Comparison: c, Trials: each}
		for range each {
			if random.Float64() < chance {
				tally.Correct++
			}
		}
		h.Tallies = append(h.Tallies, tally)
	}
	plan.Threshold.Tracks = []trials.Track{track}
	h.Plan = plan
	return h
}

func thresholdOf(all []link.Threshold, kind, who string) link.Threshold {
	for _, t := range all {
		if t.Kind == kind && (kind == "listener" && t.Listener == who || kind != "listener" && t.Group == who) {
			return t
		}
	}
	return link.Threshold{}
}

func TestThresholdsOfListenersAndOfAll(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	var in link.Input
	truths := map[string]float64{"L1": 60, "L2": 66, "L3": 71, "L4": 64}
	for i, who := range []string{"L1", "L2", "L3", "L4"} {
		in.Results = append(in.Results, ranThreshold(who, []string{"trained", "untrained"}[i%2], "random-jitter", truths[who], 2, 60, random))
	}
	in.Results = append(in.Results, ranThreshold("deaf", "untrained", "random-jitter", 400, 2, 60, random))
	practice := ranThreshold("L1", "trained", "random-jitter", 10, 2, 60, random)
	practice.Plan.Threshold.Training, practice.Session = true, "training"
	in.Results = append(in.Results, practice)
	r, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Rows) != 0 {
		t.Errorf("%d rows of a threshold run: it asks no question of its own", len(r.Rows))
	}
	for who, truth := range truths {
		got := thresholdOf(r.Thresholds, "listener", who)
		// Sixty trials every 5 dB: a standard error of about 1 dB.
		if math.Abs(got.ThresholdDB-truth) > 4 || !(got.IntervalDB[0] < truth+1 && truth-1 < got.IntervalDB[1]) {
			t.Errorf("%s: %+v, want %v dB", who, got, truth)
		}
		if math.Abs(got.BelowMusicDB-(150-got.ThresholdDB)) > 1e-9 || math.Abs(20*math.Log10(got.Threshold)-got.ThresholdDB) > 1e-9 {
			t.Errorf("%s: %v dB below the music at %v ps, %v dB", who, got.BelowMusicDB, got.Threshold, got.ThresholdDB)
		}
		if !(got.FitP > 0.001) {
			t.Errorf("%s: answers of the model itself fit with p %v", who, got.FitP)
		}
	}
	deaf := thresholdOf(r.Thresholds, "listener", "deaf")
	if !math.IsNaN(deaf.Threshold) || !(deaf.IntervalDB[0] > 90) || !math.IsNaN(deaf.IntervalDB[1]) || !strings.Contains(deaf.Says, "is above") {
		t.Errorf("who hears nothing: %+v", deaf)
	}
	all := thresholdOf(r.Thresholds, "all", "")
	if all.Listeners != 4 || all.WithoutOne != 1 || math.Abs(all.ThresholdDB-65.25) > 3 || !(all.IntervalDB[0] < 65.25 && 65.25 < all.IntervalDB[1]) || !(all.BetweenSDDB > 2) {
		t.Errorf("all: %+v", all)
	}
	if g := thresholdOf(r.Thresholds, "group", "trained"); g.Listeners != 2 || math.Abs(g.ThresholdDB-65.5) > 3 {
		t.Errorf("a group: %+v", g)
	}
}

// A curve that does not fit is reported: a listener who hears one dose among others that they do not hear.
func TestAThresholdThatDoesNotFit(t *testing.T) {
	h := ranThreshold("L1", "", "random-jitter", 80, 2, 60, rand.New(rand.NewPCG(2, 1)))
	h.Tallies[6].Correct = 60
	r, err := link.Build(link.Input{Results: []link.Heard{h}})
	if err != nil {
		t.Fatal(err)
	}
	if p := r.Thresholds[0].FitP; !(p < 0.005) {
		t.Errorf("p of the fit %v", p)
	}
}

// Where detection grows slowly with the dose, the words say that the figure must be read with its interval.
func TestAShallowRiseIsSaid(t *testing.T) {
	for slope, said := range map[float64]bool{0.4: true, 2: false} {
		r, err := link.Build(link.Input{Results: []link.Heard{ranThreshold("L1", "", "random-jitter", 60, slope, 60, rand.New(rand.NewPCG(9, 1)))}})
		if err != nil {
			t.Fatal(err)
		}
		if got := r.Thresholds[0]; got.Shallow() != said || strings.Contains(got.Says, "rely on the interval") != said {
			t.Errorf("slope %v: %s", slope, got.Says)
		}
	}
}

// A study of threshold runs alone is marked as simulated, or silent, if one of its listeners was.
func TestThresholdsOfNobodyMarkTheStudy(t *testing.T) {
	for _, simulated := range []bool{false, true} {
		h := ranThreshold("L1", "", "random-jitter", 60, 2, 20, rand.New(rand.NewPCG(9, 1)))
		h.Simulated, h.Silent = simulated, !simulated
		r, err := link.Build(link.Input{Results: []link.Heard{h}})
		if err != nil {
			t.Fatal(err)
		}
		if r.Simulated != simulated || r.Silent == simulated || r.Warned(link.SimulatedAnswers) != simulated || r.Warned(link.SilentAnswers) == simulated {
			t.Errorf("simulated %v: the study is simulated %v, silent %v; %q", simulated, r.Simulated, r.Silent, r.Texts)
		}
	}
}

// The words about an interval that the answers bound on one side only, for one listener and for a mean.
func TestOpenIntervalsAreWorded(t *testing.T) {
	nan := math.NaN()
	for want, iv := range map[string][2]float64{
		"95 % interval 1.50 to 20.0 ns":                 {1.5, 20},
		"95 % interval above 1.50 ns with no upper end": {1.5, nan},
		"95 % interval below 20.0 ns with no lower end": {nan, 20},
		"95 % interval open at both ends":               {nan, nan},
	} {
		if got := link.IntervalWords(iv, link.Digits, "ns"); got != want {
			t.Errorf("%v: %q, want %q", iv, got, want)
		}
	}
	in := link.Input{Results: []link.Heard{ranThreshold("L1", "", "random-jitter", 60, 2, 30, rand.New(rand.NewPCG(9, 1))), ranThreshold("deaf", "", "random-jitter", 400, 2, 30, rand.New(rand.NewPCG(9, 2)))}}
	r, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	if says := thresholdOf(r.Thresholds, "listener", "deaf").Says; !strings.Contains(says, "do not bound it from above") {
		t.Error(says)
	}
	if says := thresholdOf(r.Thresholds, "all", "").Says; !strings.Contains(says, "fewer than two listeners have a threshold") {
		t.Error(says)
	}
}

// The interval of the mean contains the population mean of listeners whose thresholds have a standard deviation of 5 or 10 dB:
// in 95 % of the runs, within four standard errors of the simulation.
func TestTheMeanThresholdCovers(t *testing.T) {
	runs := 6
	if *full {
		runs = 500
	}
	for _, sd := range []float64{5, 10} {
		random := rand.New(rand.NewPCG(uint64(sd), 1))
		covered := 0
		for range runs {
			var in link.Input
			for i := range 6 {
				in.Results = append(in.Results, ranThreshold(fmt.Sprint(i), "", "random-jitter", 60+sd*random.NormFloat64(), 2, 16, random))
			}
			r, err := link.Build(in)
			if err != nil {
				t.Fatal(err)
			}
			if iv := thresholdOf(r.Thresholds, "all", "").IntervalDB; iv[0] <= 60 && 60 <= iv[1] {
				covered++
			}
		}
		share := float64(covered) / float64(runs)
		t.Logf("listeners who differ by %v dB: %.3f of %d runs", sd, share, runs)
		if math.Abs(share-0.95) > 4*math.Sqrt(0.95*0.05/float64(runs)) {
			t.Errorf("listeners who differ by %v dB: the interval of the mean covers in %.3f of %d runs", sd, share, runs)
		}
	}
}

// Chains against thresholds: 20·log10 of the ratio, and predictions against verdicts.
func TestChainsAgainstThresholds(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 1))
	jitter := func(name string, random, periodic float64) link.Chain {
		return link.Chain{Name: name, Role: "source", Cost: math.NaN(), Figures: map[link.Metric][]link.Figure{
			link.RandomJitter: {{Value: random, Limit: 1}}, link.DeterministicJitter: {{Value: periodic, Limit: 1}}}}
	}
	in := link.Input{Chains: []link.Chain{jitter("direct", 20, 5), jitter("quiet", 10, 2), jitter("poor", 20000, 5)}}
	in.Chains = append(in.Chains, link.Chain{Name: "best", Role: "source", Figures: map[link.Metric][]link.Figure{link.RandomJitter: {{Value: math.NaN(), Limit: 4}}}})
	for _, who := range []string{"L1", "L2"} {
		in.Results = append(in.Results, ranThreshold(who, "", "random-jitter", 60, 2, 60, random), ranThreshold(who, "", "periodic-jitter", 50, 2, 60, random))
	}
	pair := func(b string, correct int) link.Heard {
		c := trials.Comparison{Name: "direct – " + b, A: "direct", B: b, Excerpt: "e", AudioA: "x", AudioB: b, Trials: 60}
		p := trials.Plan{ID: b, Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.5, Comparisons: []trials.Comparison{c}}
		h := link.Heard{Listener: "L1"}
		h.Session, h.Plan = "abx "+b, p
		h.Tallies = []trials.Tally{{Comparison: c, Trials: 60, Correct: correct, Answers: trials.Answers{{correct / 2, 30 - correct/2}, {30 - (correct - correct/2), correct - correct/2}}}}
		return h
	}
	in.Results = append(in.Results, pair("quiet", 30), pair("poor", 58), pair("best", 60))
	r, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range r.Margins {
		if want := 20 * math.Log10(m.Threshold/m.Value); m.BelowDB != want || m.Listeners != 2 {
			t.Errorf("%+v, want %v dB", m, want)
		}
		if m.Chain == "best" && (!m.AtMost || !strings.Contains(m.Says, "at least")) || m.Chain == "poor" && m.Metric == link.RandomJitter && !strings.Contains(m.Says, "dB above") {
			t.Errorf("%+v", m)
		}
	}
	want := map[string][2]string{"quiet": {link.NotToldApart, link.Agrees}, "poor": {link.ToldApart, link.Agrees}, "best": {link.Open, link.Open}}
	if len(r.Predictions) != len(want) || len(r.Margins) != 7 {
		t.Fatalf("%d predictions, %d margins", len(r.Predictions), len(r.Margins))
	}
	for _, p := range r.Predictions {
		if got := [2]string{p.Predicted, p.Agreement}; got != want[p.B] {
			t.Errorf("%+v, want %v", p, want[p.B])
		}
	}
	in.Results[len(in.Results)-3] = pair("quiet", 58)
	if r, err = link.Build(in); err != nil || r.Predictions[0].Agreement != link.Surprise && r.Predictions[1].Agreement != link.Surprise && r.Predictions[2].Agreement != link.Surprise {
		t.Errorf("a pair below all thresholds that is told apart is no surprise: %+v, %v", r.Predictions, err)
	}
}
