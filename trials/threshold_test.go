package trials

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"strings"
	"testing"

	"heardiff/stats"
)

// climbPlan is a threshold run of two tracks of nine rungs, 5 dB apart, with controls.
func climbPlan(d Design, procedure stats.Placing, limit int) Plan {
	p := testPlan(d, 2)
	p.Comparisons[0].Kind, p.Comparisons[0].Name = Practice, "practice"
	p.Comparisons = append(p.Comparisons,
		Comparison{Name: "plain", Kind: PositiveControl, A: "left", B: "left", Excerpt: "e", AudioA: "aa", AudioB: "bb", Trials: 4},
		Comparison{Name: "zero", Kind: NegativeControl, A: "left", B: "left", Excerpt: "e", AudioA: "aa", AudioB: "aa", Trials: 3})
	p.Threshold = &Threshold{Procedure: procedure, Down: 2, Steps: []int{2, 1}}
	prior := stats.ThresholdPrior{LowDB: -5, HighDB: 45, StepDB: 1, Slopes: []float64{0.5, 1, 2, 4}, Lapses: []float64{0, 0.02}, LapseWeights: []float64{3, 1}}
	for _, name := range []string{"random", "periodic"} {
		t := Track{Name: name, Quantity: name + "-jitter", Unit: "ps RMS", Limit: limit, Prior: prior}
		for i := range 9 {
			c := Comparison{Name: fmt.Sprintf("%s %d", name, i), Kind: Graded, A: "left", B: "left", Excerpt: "e", AudioA: "aa", AudioB: fmt.Sprintf("%s%d", name, i)}
			p.Comparisons = append(p.Comparisons, c)
			t.Rungs = append(t.Rungs, Rung{c.Name, math.Pow(10, float64(i)/4), 5 * float64(i), 5*float64(i) - 100})
		}
		p.Threshold.Tracks = append(p.Threshold.Tracks, t)
	}
	return p
}

// due returns the name of the comparison that the current trial is of, its level where it is graded, and the answer that is right.
func due(s *Session) (name string, level float64, right Answer) {
	t := s.trials[s.current]
	name = s.plan.Comparisons[t.comparison].Name
	for _, track := range s.plan.Threshold.Tracks {
		for _, r := range track.Rungs {
			if r.Comparison == name {
				level = r.LevelDB
			}
		}
	}
	return name, level, t.right()
}

// scripted returns the answer of a listener who is right from 20 dB on, and below that gives the two answers in turn.
func scripted(s *Session, n int) Answer {
	_, level, right := due(s)
	if level >= 20 {
		return right
	}
	return s.plan.Design.Answers()[n%2]
}

// redealt are the runs that a program in another language deals again. Two of them end at their precision, by the wider of two priors; in
// the cautious one of climb_within, as in plans of earlier versions, all lapse rates are equally likely.
func redealt() map[string]Plan {
	within := climbPlan(TwoInterval, stats.PlacedBayes, 200)
	within.Threshold.WithinDB = 2
	for i := range within.Threshold.Tracks {
		within.Threshold.Tracks[i].Prior.CautiousSlopes = []float64{8, 4, 2, 1}
	}
	plain := climbPlan(TwoInterval, stats.PlacedBayes, 200)
	plain.Threshold.PlainEvery, plain.Threshold.WithinDB = 5, 3
	for i := range plain.Threshold.Tracks {
		prior := &plain.Threshold.Tracks[i].Prior
		prior.CautiousSlopes, prior.CautiousLapses = []float64{8, 4, 2, 1}, prior.LapseWeights
	}
	return map[string]Plan{
		"climb_plain":     plain,
		"climb_bayes":     climbPlan(TwoInterval, stats.PlacedBayes, 20),
		"climb_staircase": climbPlan(TwoInterval, stats.PlacedStaircase, 20),
		"climb_constant":  climbPlan(TwoInterval, stats.PlacedConstant, 20),
		"climb_within":    within,
	}
}

// playScript works through a plan by the script, with one void trial, and returns what was dealt and what was answered.
func playScript(t *testing.T, p Plan) (dealt, said []string) {
	t.Helper()
	var seed Seed
	for i := range seed {
		seed[i] = byte(i)
	}
	s, _ := begin(t, p, seed)
	for n := 0; s.View().Phase != Done; n++ {
		name, _, right := due(s)
		dealt = append(dealt, name+"="+right.String())
		if n == 5 {
			said = append(said, "void")
			if err := s.Void("a noise outside"); err != nil {
				t.Fatal(err)
			}
			continue
		}
		a := scripted(s, n)
		said = append(said, a.String())
		answer(t, s, a)
	}
	return dealt, said
}

// The doses, what is right and where the run ends, dealt by a program in another language from plan, seed and answers alone:
// python3 testdata/redeal.py --threshold testdata/NAME.json SEED ANSWERS; Python 3.11. The plan and the answers are written
// by this test with -args -redeal, the deal by that program.
func TestAThresholdRunCanBeDealtAgainWithoutUs(t *testing.T) {
	for name, p := range redealt() {
		dealt, said := playScript(t, p)
		file := "testdata/" + name
		if *redeal {
			plan, err := json.MarshalIndent(p, "", " ")
			if err == nil {
				err = os.WriteFile(file+".json", plan, 0o644)
			}
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("python3 testdata/redeal.py --threshold %s.json 000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f %s > %s.txt", file, strings.Join(said, " "), file)
			continue
		}
		want, err := os.ReadFile(file + ".txt")
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(dealt, "\n") + "\n"; got != string(want) {
			t.Errorf("%s: dealt\n%swant\n%s", name, got, want)
		}
	}
}

// A run ends later where the interval is the wider of two priors' intervals. A plan without the second prior ends by the first alone.
func TestTheCautiousPriorEndsARunLater(t *testing.T) {
	p := redealt()["climb_within"]
	cautious, _ := playScript(t, p)
	for i := range p.Threshold.Tracks {
		p.Threshold.Tracks[i].Prior.CautiousSlopes = nil
	}
	first, _ := playScript(t, p)
	if !(60 < len(first) && len(first) < len(cautious) && len(cautious) < 400) {
		t.Errorf("%d trials, %d by the first prior alone", len(cautious), len(first))
	}
}

// A run that is interrupted after any trial resumes with the same dose and the same assignment.
func TestAThresholdRunResumesAtTheSameTrial(t *testing.T) {
	for _, procedure := range []stats.Placing{stats.PlacedBayes, stats.PlacedStaircase, stats.PlacedConstant} {
		p := climbPlan(ABX, procedure, 15)
		s, m := begin(t, p, Seed{3})
		for n := 0; s.View().Phase != Done; n++ {
			again, err := Resume(p, Seed{3}, m.entries, m, clock())
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(again.trials, s.trials) {
				t.Fatalf("%v, trial %d: %v, resumed %v", procedure, n+1, s.trials, again.trials)
			}
			for i, track := range s.climb.tracks {
				if fmt.Sprint(track.Estimate()) != fmt.Sprint(again.climb.tracks[i].Estimate()) {
					t.Fatalf("%v, trial %d: another posterior", procedure, n+1)
				}
			}
			answer(t, s, scripted(s, n))
		}
	}
}

// Every track gets as many trials as its limit, each rung as many as any other; the tracks come mixed.
func TestAThresholdRunAsksWhatThePlanSays(t *testing.T) {
	p := climbPlan(TwoInterval, stats.PlacedConstant, 90)
	s, m := begin(t, p, Seed{9})
	changes, last := 0, ""
	for n := 0; s.View().Phase != Done; n++ {
		name, _, _ := due(s)
		if track, _, ok := strings.Cut(name, " "); ok && track != last {
			changes, last = changes+1, track
		}
		answer(t, s, scripted(s, n))
	}
	r, err := Reveal(p, m.entries)
	if err != nil {
		t.Fatal(err)
	}
	for _, tally := range r.Tallies {
		want := tally.Comparison.Trials
		if tally.Comparison.Kind == Graded {
			want = 10 // constant stimuli: each of the nine rungs as often as any other
		}
		if tally.Comparison.Kind == PositiveControl || tally.Comparison.Kind == NegativeControl {
			continue // drawn from what is left: those that the urn still held at the end were not asked
		}
		if tally.Trials != want {
			t.Errorf("%s: %d trials, want %d", tally.Comparison.Name, tally.Trials, want)
		}
	}
	if changes < 60 { // 90 expected of a fair draw, with a standard deviation of 6.6
		t.Errorf("the track changed %d times in 180 trials", changes)
	}
}

// Simulated listeners with two thresholds: each is found, and the run ends before its limit at the requested precision.
func TestAThresholdRunFindsTwoThresholds(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	truth := map[string]float64{"random": 12, "periodic": 27}
	for _, procedure := range []stats.Placing{stats.PlacedBayes, stats.PlacedStaircase} {
		p := climbPlan(TwoInterval, procedure, 400)
		p.Threshold.WithinDB = 3
		s, m := begin(t, p, Seed{5})
		for s.View().Phase != Done {
			name, level, right := due(s)
			track, _, _ := strings.Cut(name, " ")
			chance := 1.0 // practice and the plain control
			if at, graded := truth[track]; graded {
				chance = 1 - 0.5*math.Pow(2, -math.Pow(10, 3*(level-at)/20))
			}
			said := right
			if random.Float64() > chance {
				said = map[Answer]Answer{"1": "2", "2": "1"}[right]
			}
			answer(t, s, said)
		}
		r, err := Reveal(p, m.entries)
		if err != nil {
			t.Fatal(err)
		}
		for i, track := range p.Threshold.Tracks {
			e := s.climb.tracks[i].Estimate()
			// Three half-widths of 3 dB are six standard errors.
			if !(math.Abs(e.ThresholdDB-truth[track.Name]) < 9) || e.Trials >= 400 || !((e.IntervalDB[1]-e.IntervalDB[0])/2 < 3.01) {
				t.Errorf("%v, %s: %+v, want %v", procedure, track.Name, e, truth[track.Name])
			}
			var levels []float64
			var counts []stats.Count
			for _, rung := range track.Rungs {
				tally := r.Tallies[p.comparison(rung.Comparison)]
				levels, counts = append(levels, rung.LevelDB), append(counts, stats.Count{Correct: tally.Correct, Trials: tally.Trials})
			}
			grid, err := stats.NewThresholdGrid(levels, 0.5, track.Prior)
			if err != nil {
				t.Fatal(err)
			}
			whole, err := grid.Estimate(counts)
			if err != nil || math.Abs(whole.ThresholdDB-e.ThresholdDB) > 1e-9 || whole.Trials != e.Trials {
				t.Errorf("%v, %s: %+v from the counts, %+v trial by trial", procedure, track.Name, whole, e)
			}
		}
	}
}

// What may be shown, and what is written before the end, is the same for every seed: it follows from the keys alone. The run goes to
// its limit, since where it ends early follows from the answers.
func TestAThresholdRunRevealsNothing(t *testing.T) {
	var shown, written []byte
	for seed := range 12 {
		p := climbPlan(TwoInterval, stats.PlacedBayes, 12)
		p.Comparisons[1].Trials, p.Comparisons[2].Trials = 1, 1
		s, m := begin(t, p, Seed{byte(seed)})
		var views, rows []byte
		for range 14 { // practice, and as many as there are in any case
			v := s.View()
			v.Feedback = nil // of the practice trial before
			line, err := json.Marshal(v)
			if err != nil {
				t.Fatal(err)
			}
			views = append(append(views, line...), '\n')
			answer(t, s, "1")
			e := m.entries[len(m.entries)-1]
			e.Previous, e.Hash = "", ""
			row, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			rows = append(append(rows, row...), '\n')
		}
		if seed > 0 && !bytes.Equal(views, shown) || seed > 0 && !bytes.Equal(rows, written) {
			t.Fatalf("seed %d:\n%s%s\nbefore:\n%s%s", seed, views, rows, shown, written)
		}
		shown, written = views, rows
	}
}

func TestATrainingGivesFeedbackOnEveryTrial(t *testing.T) {
	p := climbPlan(TwoInterval, stats.PlacedStaircase, 6)
	p.Threshold.Training = true
	s, _ := begin(t, p, Seed{7})
	for n := 0; s.View().Phase != Done; n++ {
		if !s.View().Practice {
			t.Fatalf("trial %d is shown as a test", n+1)
		}
		answer(t, s, scripted(s, n))
		if s.View().Feedback == nil {
			t.Fatalf("trial %d had no feedback", n+1)
		}
	}
	p.Threshold.Training = false
	s, _ = begin(t, p, Seed{7})
	for n := 0; s.View().Phase != Done; n++ {
		if practice := n < 2; s.View().Practice != practice {
			t.Fatalf("trial %d: practice %v", n+1, !practice)
		}
		answer(t, s, scripted(s, n))
		if f := s.View().Feedback; (f != nil) != (n < 2) {
			t.Fatalf("trial %d: feedback %v", n+1, f)
		}
	}
}

func TestInvalidThresholdPlansAreRejected(t *testing.T) {
	for name, change := range map[string]func(*Plan){
		"no track":              func(p *Plan) { p.Threshold.Tracks = nil },
		"a rung that is none":   func(p *Plan) { p.Threshold.Tracks[0].Rungs[0].Comparison = "zero" },
		"a rung of two tracks":  func(p *Plan) { p.Threshold.Tracks[0].Rungs[0].Comparison = "periodic 0" },
		"levels that fall":      func(p *Plan) { p.Threshold.Tracks[0].Rungs[3].LevelDB = 0 },
		"no limit":              func(p *Plan) { p.Threshold.Tracks[1].Limit = 0 },
		"a limit out of reach":  func(p *Plan) { p.Threshold.Tracks[1].Limit = math.MaxInt },
		"balanced order":        func(p *Plan) { p.Order = Balanced },
		"looks":                 func(p *Plan) { p.Looks = &stats.Looks{} },
		"blocks":                func(p *Plan) { p.Layout = Blocked },
		"by hand":               func(p *Plan) { p.SingleBlind = true },
		"counts fixed":          func(p *Plan) { p.Comparisons[5].Trials = 3 },
		"graded, but no run":    func(p *Plan) { p.Threshold = nil },
		"a precision below":     func(p *Plan) { p.Threshold.WithinDB = -1 },
		"a precision of NaN":    func(p *Plan) { p.Threshold.WithinDB = math.NaN() },
		"a grid too coarse":     func(p *Plan) { p.Threshold.Tracks[0].Prior.StepDB = 3 },
		"a grid too large":      func(p *Plan) { p.Threshold.Tracks[0].Prior.StepDB = 1e-9 },
		"a weight missing":      func(p *Plan) { p.Threshold.Tracks[0].Prior.LapseWeights = []float64{1} },
		"no weight by caution":  func(p *Plan) { p.Threshold.Tracks[0].Prior.CautiousSlopes = []float64{1, 1, 1, 0} },
		"every trial plain":     func(p *Plan) { p.Threshold.PlainEvery = 1 },
		"plain ones, constant":  func(p *Plan) { p.Threshold.Procedure, p.Threshold.PlainEvery = stats.PlacedConstant, 10 },
		"no cautious slopes":    func(p *Plan) { p.Threshold.Tracks[0].Prior.CautiousLapses = []float64{1, 1} },
		"a track without words": func(p *Plan) { p.Threshold.Tracks[0].Name = "" },
	} {
		p := climbPlan(TwoInterval, stats.PlacedBayes, 20)
		if err := p.Validate(); err != nil {
			t.Fatal(err)
		}
		change(&p)
		if p.Validate() == nil {
			t.Errorf("%s was taken", name)
		}
	}
	p := climbPlan(TwoInterval, stats.PlacedStaircase, 20)
	p.Threshold.Down = 0
	if p.Validate() == nil {
		t.Error("a staircase that never falls was taken")
	}
}

var redeal = flag.Bool("redeal", false, "write the plans that testdata/redeal.py deals, and how")
