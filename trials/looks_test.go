package trials

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/stats"
)

// The order dealt by a program in another language, written from the comments of order.go:
// python3 testdata/redeal.py SEED abx 16, and likewise for every design; Python 3.11.7.
func TestASecondProgramDealsTheOrder(t *testing.T) {
	var seed Seed
	for i := range seed {
		seed[i] = byte(i)
	}
	for _, tt := range []struct {
		design Design
		want   string
	}{
		{ABX, "b b a a b a b a b b b a b a a a"},
		{SameDifferent, "different different different same different different different same different different same same different different same same"},
		{Triangle, "2 2 1 1 2 3 1 1 1 1 1 2 2 2 2 3"},
		{TwoInterval, "1 1 2 2 1 2 1 2 1 1 1 2 1 2 2 2"},
	} {
		p := testPlan(tt.design, 16)
		var got []string
		for _, one := range deal(p, seed) {
			got = append(got, one.right().String())
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%s\n got %s\nwant %s", tt.design, strings.Join(got, " "), tt.want)
		}
	}
}

// randomSeed returns the seed of one simulated session.
func randomSeed(r *rand.Rand) Seed {
	var s Seed
	for i := range s {
		s[i] = byte(r.Uint32())
	}
	return s
}

// simulate runs a session of a listener who is right with probability p.
func simulate(t *testing.T, plan Plan, p float64, r *rand.Rand) Result {
	t.Helper()
	s, m := begin(t, plan, randomSeed(r))
	for s.View().Phase != Done {
		truth := oracle(t, s)
		pair := plan.Design.Answers()
		said := truth
		if r.Float64() >= p {
			said = map[Answer]Answer{pair[0]: pair[1], pair[1]: pair[0]}[truth]
		}
		answer(t, s, said)
	}
	result, err := s.Result(m.entries)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// Sessions of a sequential plan must end with the probabilities of the exact recursion in stats, at chance and above it.
func TestSequentialSessionsEndAsComputed(t *testing.T) {
	looks := stats.Looks{Trials: []int{8, 16, 24}, Heard: []int{8, 13, 17}, RuledOut: []int{2, 6, 16}}
	plan := testPlan(ABX, 24)
	plan.Looks = &looks
	const n = 1500
	for _, p := range []float64{0.5, 0.75} {
		r, want := rand.New(rand.NewPCG(7, 8)), looks.Course(p)
		heard, out, run := 0.0, 0.0, 0.0
		for range n {
			result := simulate(t, plan, p, r)
			switch result.Stopped {
			case StopHeard:
				heard++
			case StopRuledOut:
				out++
			}
			run += float64(len(result.Trials))
		}
		// 4.4 standard errors: fails by chance once in 100 000 seeds. The number of trials has a standard deviation below 8.
		near := func(what string, got, want, spread float64) {
			if math.Abs(got-want) > 4.4*spread/math.Sqrt(n) {
				t.Errorf("p = %v: %s %.4f, computed %.4f", p, what, got, want)
			}
		}
		near("heard", heard/n, want.Heard, math.Sqrt(want.Heard*(1-want.Heard)))
		near("ruled out", out/n, want.RuledOut, math.Sqrt(want.RuledOut*(1-want.RuledOut)))
		near("trials", run/n, want.Expected, 8)
	}
}

func TestStoppedSessionComesBackStopped(t *testing.T) {
	plan := testPlan(ABX, 10)
	plan.Looks = &stats.Looks{Trials: []int{5, 10}, Heard: []int{5, 9}, RuledOut: []int{0, 8}}
	seed := Seed{9}
	s, m := begin(t, plan, seed)
	for s.View().Phase != Done {
		answer(t, s, oracle(t, s))
	}
	again, err := Resume(plan, seed, m.entries, m, clock())
	if err != nil || again.View().Phase != Done {
		t.Fatalf("phase %v, error %v", again.View().Phase, err)
	}
	if r, err := again.Result(m.entries); err != nil || r.Stopped != StopHeard || len(r.Trials) != 5 {
		t.Errorf("stopped %q after %d trials, error %v; want heard after 5", r.Stopped, len(r.Trials), err)
	}
}

func TestSequentialPlanRejectsWhatItsBoundariesDoNotCover(t *testing.T) {
	good := func() Plan {
		p := testPlan(ABX, 16)
		p.Looks = &stats.Looks{Trials: []int{8, 16}, Heard: []int{8, 12}, RuledOut: []int{-1, 11}}
		return p
	}
	if err := good().Validate(); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*Plan){
		"balanced order":        func(p *Plan) { p.Order = Balanced },
		"no look":               func(p *Plan) { p.Looks = &stats.Looks{} },
		"a boundary missing":    func(p *Plan) { p.Looks.Heard = []int{8} },
		"looks out of order":    func(p *Plan) { p.Looks.Trials = []int{16, 8} },
		"a look after the last": func(p *Plan) { p.Looks.Trials = []int{8, 17} },
		"boundaries that cross": func(p *Plan) { p.Looks.RuledOut = []int{8, 11} },
		"a second pair of chains": func(p *Plan) {
			c := p.Comparisons[0]
			c.Name, c.B = "other", "third"
			p.Comparisons = append(p.Comparisons, c)
		},
	} {
		p := good()
		change(&p)
		if p.Validate() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// In balanced order a listener who gives both answers equally often is right at least 12 times of 16 with probability
// (C(8,6)² + C(8,7)² + C(8,8)²)/C(16,8) = 849/12870: twice the binomial tail. So the exact binomial test is not valid in
// balanced order, and results say so.
func TestBalancedOrderIsNotBinomial(t *testing.T) {
	plan := testPlan(ABX, 16)
	plan.Order = Balanced
	r := rand.New(rand.NewPCG(3, 4))
	const n = 20_000
	reached := 0.0
	for range n {
		said := r.Perm(16)
		correct := 0
		for i, one := range deal(plan, randomSeed(r)) {
			if (one.hidden.sounds[2] == SourceA) == (said[i] < 8) {
				correct++
			}
		}
		if correct >= 12 {
			reached++
		}
	}
	const want = 849.0 / 12870
	if got := reached / n; math.Abs(got-want) > 4.4*math.Sqrt(want*(1-want)/n) {
		t.Errorf("12 of 16 reached with probability %.4f, want %.4f", got, want)
	}
}

func TestControlsOfABlockedPlanAreSpread(t *testing.T) {
	plan := testPlan(ABX, 8)
	plan.Layout = Blocked
	second := plan.Comparisons[0]
	second.Name, second.B = "second", "third"
	control := plan.Comparisons[0]
	control.Name, control.Kind, control.Trials = "control", PositiveControl, 4
	plan.Comparisons = append(plan.Comparisons, second, control)
	r := rand.New(rand.NewPCG(5, 6))
	var at [20]int
	const n = 4000
	for range n {
		switches, last := 0, -1
		for i, one := range deal(plan, randomSeed(r)) {
			if plan.Comparisons[one.comparison].Kind == PositiveControl {
				at[i]++
				continue
			}
			if last >= 0 && one.comparison != last {
				switches++
			}
			last = one.comparison
		}
		if switches != 1 {
			t.Fatalf("two scored blocks change %d times", switches)
		}
	}
	for i, k := range at {
		// Each position is a control with probability 4/20.
		if math.Abs(float64(k)-n*0.2) > 4.4*math.Sqrt(n*0.2*0.8) {
			t.Errorf("position %d was a control %d times of %d, want about %v", i, k, n, n*0.2)
		}
	}
}

func TestVoidPracticeStaysPractice(t *testing.T) {
	plan := testPlan(ABX, 3)
	practice := plan.Comparisons[0]
	practice.Name, practice.Kind, practice.Trials = "practice", Practice, 2
	plan.Comparisons = append(plan.Comparisons, practice)
	s, m := begin(t, plan, Seed{4})
	if err := s.Void("a door"); err != nil {
		t.Fatal(err)
	}
	var kinds []bool
	for s.View().Phase != Done {
		kinds = append(kinds, s.View().Practice)
		answer(t, s, oracle(t, s))
	}
	if got := fmt.Sprint(kinds); got != "[true true false false false]" {
		t.Errorf("practice by trial: %s", got)
	}
	if r, err := s.Result(m.entries); err != nil || r.Tallies[0].Correct != 3 || r.Tallies[1].Correct != 2 {
		t.Errorf("%+v, error %v: the oracle must be right throughout", r.Tallies, err)
	}
}

// No verb prints what is hidden: numeric ones would otherwise bypass String.
func TestNoVerbPrintsWhatIsHidden(t *testing.T) {
	for _, verb := range []string{"%v", "%+v", "%#v", "%d", "%x", "%s", "%q", "%T %v"} {
		one := fmt.Sprintf(verb, Cue{source: SourceA}, Seed{}, Key{})
		two := fmt.Sprintf(verb, Cue{source: SourceB, comparison: 3}, Seed{1, 2}, Key{3})
		if one != two {
			t.Errorf("%s reveals: %q, %q", verb, one, two)
		}
	}
	for _, verb := range []string{"%v", "%d", "%x", "%+v"} {
		one := fmt.Sprintf(verb, []any{Cue{source: SourceA}, Seed{}, Key{}})
		if two := fmt.Sprintf(verb, []any{Cue{source: SourceB}, Seed{1}, Key{3}}); one != two {
			t.Errorf("%s in a list reveals: %q, %q", verb, one, two)
		}
	}
}
