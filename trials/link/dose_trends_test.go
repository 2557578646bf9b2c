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

// climbed is an invented listener's session on a ladder: n trials at each dose, right with the probability of the curve.
func climbed(listener string, doses []float64, n int, chance func(dose float64) float64, random *rand.Rand) link.Heard {
	h := link.Heard{Listener: listener, Result: trials.Result{Session: listener + "-1", Plan: trials.Plan{ID: "p", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.5}}}
	for _, dose := range doses {
		k := 0
		for range n {
			if random.Float64() < chance(dose) {
				k++
			}
		}
		c := trials.Comparison{Name: fmt.Sprintf("bus + %g", dose), A: "bus", B: "bus", Excerpt: "strings", AudioA: "clean", AudioB: fmt.Sprint(dose)}
		h.Tallies = append(h.Tallies, trials.Tally{Comparison: c, Trials: n, Correct: k})
	}
	return h
}

func rungs(doses []float64, metric link.Metric) []link.Pairing {
	var all []link.Pairing
	for _, dose := range doses {
		all = append(all, link.Pairing{A: "bus", B: "bus", Excerpt: "strings", AudioB: fmt.Sprint(dose), Treatment: "a known thing", Dose: dose, DoseMetric: metric,
			NullDB: nan, ResponseMaxDB: nan, LoudnessDifferenceLU: nan, LevelErrorDB: 0, OffsetErrorUS: 0})
	}
	return all
}

func trendOf(t *testing.T, r link.Result, listener string) link.Trend {
	t.Helper()
	for _, v := range r.Trends {
		if v.Treatment != "" && v.Listener == listener {
			return v
		}
	}
	t.Fatalf("no trend of %q in %+v", listener, r.Trends)
	return link.Trend{}
}

// Truth: "keen" hears half of all trials at 20 ns, "mild" at 200 ns, by Weibull curves of slope 2.
func TestALadderFindsEachListenersThreshold(t *testing.T) {
	doses := []float64{1e3, 3e3, 1e4, 3e4, 1e5, 3e5, 1e6}
	truth := map[string]float64{"keen": 2e4, "mild": 2e5}
	random := rand.New(rand.NewPCG(3, 1))
	in := link.Input{Chains: chains(), Pairings: rungs(doses, link.DoseRandomJitter)}
	for _, who := range []string{"keen", "mild"} {
		c := stats.Curve{Guess: 0.5, Threshold: truth[who], Slope: 2}
		in.Results = append(in.Results, climbed(who, doses, 60, c.At, random))
	}
	r, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Rows) != 3*len(doses) {
		t.Fatalf("%d rows: one is expected for each dose of each listener, and of all", len(r.Rows))
	}
	for i := 1; i < len(r.Rows); i++ {
		if r.Rows[i].Dose < r.Rows[i-1].Dose {
			t.Errorf("row %d: dose %g after %g", i, r.Rows[i].Dose, r.Rows[i-1].Dose)
		}
	}
	for who, want := range truth {
		got := trendOf(t, r, who)
		if !(got.ThresholdInterval[0] < want && want < got.ThresholdInterval[1]) {
			t.Errorf("%s: threshold %g (%g to %g), truth %g", who, got.Threshold, got.ThresholdInterval[0], got.ThresholdInterval[1], want)
		}
		if ratio := got.ThresholdInterval[1] / got.ThresholdInterval[0]; ratio > 4 {
			t.Errorf("%s: the interval spans a ratio of %g and tells little", who, ratio)
		}
		if !strings.Contains(got.Says, who) || got.Tau < 0.5 {
			t.Errorf("%s: %q, tau %v", who, got.Says, got.Tau)
		}
	}
	if len(r.Ranking) != 2 || r.Ranking[0].ToldApart != nil || r.Ranking[1].ToldApart != nil {
		t.Errorf("doses of one chain rank chains: %+v", r.Ranking)
	}
}

// Four listeners whose log10 thresholds are normal with a standard deviation of 0.7: the threshold of all is their mean, with
// the interval for differing thresholds. The interval of one curve through all answers is less than half as long: over 16 such
// studies it contained the mean in 10, this one in all.
func TestTheThresholdOfAllIsTheMeanOfThoseWhoDiffer(t *testing.T) {
	doses := []float64{1e3, 4e3, 1.6e4, 6.4e4, 2.56e5, 1e6}
	random := rand.New(rand.NewPCG(3, 2))
	in := link.Input{Chains: chains(), Pairings: rungs(doses, link.DoseRandomJitter)}
	var points []stats.DosePoint
	for i := range 4 {
		c := stats.Curve{Guess: 0.5, Threshold: math.Pow(10, 4.5+0.7*random.NormFloat64()), Slope: 2}
		h := climbed(fmt.Sprint("ear", i), doses, 20, c.At, random)
		in.Results = append(in.Results, h)
		for k, v := range h.Tallies {
			points = append(points, stats.DosePoint{Dose: doses[k], Correct: v.Correct, Trials: v.Trials, Listener: h.Listener})
		}
	}
	r, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	want, err := stats.FitRandomThresholds(points, stats.FitConfig{})
	if err != nil {
		t.Fatal(err)
	}
	got := trendOf(t, r, "")
	if got.Threshold != want.Threshold || got.ThresholdInterval != want.ThresholdInterval || got.Listeners != 4 || !(got.BetweenSD > 0) {
		t.Errorf("threshold %g %v of %d, want %g %v", got.Threshold, got.ThresholdInterval, got.Listeners, want.Threshold, want.ThresholdInterval)
	}
	one, err := stats.FitCurve(points, stats.FitConfig{})
	if err != nil {
		t.Fatal(err)
	}
	length := func(iv [2]float64) float64 { return math.Log(iv[1] / iv[0]) }
	if length(got.ThresholdInterval) < 2*length(one.ThresholdInterval) {
		t.Errorf("interval %v, that of one listener %v", got.ThresholdInterval, one.ThresholdInterval)
	}
	if !strings.Contains(got.Says, "mean threshold (75 % right) of 4 listeners") {
		t.Errorf("%q", got.Says)
	}
}

// Truth: nobody hears the noise, at any level.
func TestALadderThatNobodyHearsHasNoThreshold(t *testing.T) {
	doses := []float64{-120, -110, -100, -90, -80}
	guess := func(float64) float64 { return 0.5 }
	r, err := link.Build(link.Input{Chains: chains(), Pairings: rungs(doses, link.DoseNoise), Results: []link.Heard{climbed("guest", doses, 60, guess, rand.New(rand.NewPCG(5, 5)))}})
	if err != nil {
		t.Fatal(err)
	}
	got := trendOf(t, r, "guest")
	if !math.IsNaN(got.ThresholdInterval[1]) || got.ThresholdInterval[0] < -80 {
		t.Errorf("a guesser has a threshold at %g (%g to %g)", got.Threshold, got.ThresholdInterval[0], got.ThresholdInterval[1])
	}
	for _, row := range r.Rows {
		if row.Verdict == link.HeardIt {
			t.Errorf("%s was heard: %s", row.Comparison, row.Reason)
		}
	}
}

func TestADoseIsNoConfoundOfItself(t *testing.T) {
	pairs := rungs([]float64{-1}, link.DoseGain)
	pairs[0].LoudnessDifferenceLU, pairs[0].ResponseMaxDB = -1, -1
	all := func(float64) float64 { return 1 }
	r, err := link.Build(link.Input{Pairings: pairs, Results: []link.Heard{climbed("keen", []float64{-1}, 20, all, rand.New(rand.NewPCG(1, 1)))}})
	if err != nil {
		t.Fatal(err)
	}
	if r.Rows[0].Verdict != link.HeardIt || len(r.Rows[0].Confounds) != 0 {
		t.Errorf("%s: %s", r.Rows[0].Verdict, r.Rows[0].Reason)
	}
}

func TestADoseBelowTheReplayChainsOwnJitterRulesOutNothing(t *testing.T) {
	replay := link.Chain{Name: "speakers", Role: "replay", Figures: map[link.Metric][]link.Figure{link.RandomJitter: {{Value: 500, Limit: nan}}}}
	half := func(float64) float64 { return 0.5 }
	for dose, want := range map[float64]link.Verdict{100: link.Undecided, 5000: link.RuledOut} {
		r, err := link.Build(link.Input{Chains: append(chains(), replay), Pairings: rungs([]float64{dose}, link.DoseRandomJitter),
			Results: []link.Heard{climbed("guest", []float64{dose}, 100, half, rand.New(rand.NewPCG(2, 4)))}})
		if err != nil {
			t.Fatal(err)
		}
		if got := r.Rows[0]; got.Verdict != want {
			t.Errorf("%g ps behind a chain of 500 ps: %s, %s", dose, got.Verdict, got.Reason)
		}
	}
}
