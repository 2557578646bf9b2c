package main

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

func familyOfOne(p trials.Plan) link.Family { return link.NewFamily([]trials.Plan{p}, nil) }

func onePlan(n int, effect float64) trials.Plan {
	return trials.Plan{ID: "1", Design: trials.ABX, Alpha: 0.05, SmallestEffect: effect, Comparisons: []trials.Comparison{
		{Name: "one", A: "plain", B: "long", AudioA: "1", AudioB: "2", Trials: n}}}
}

// 16 trials at alpha 0.05 need 12 right; at p = 0.7 that is reached with probability 0.45, and a power of 0.8 takes 42
// trials (27 right): R 4.2.2, pbinom(11, 16, 0.7, lower.tail = FALSE), and the same over all larger n.
func TestPlanSaysWhatItCanFind(t *testing.T) {
	var text strings.Builder
	r, err := reportPlan(onePlan(16, 0.3), familyOfOne(onePlan(16, 0.3)))
	must(t, err)
	r.text(&text)
	const want = "70 % of the time 12 of 16 0.45 42"
	if !strings.Contains(strings.Join(strings.Fields(lay(text.String(), 0)), " "), want) {
		t.Errorf("got\n%s\nwant in it\n%s", text.String(), want)
	}
}

// The test that decides has the power that is shown. Duplicate pairs, 42 of a coin, p 0.7: 0.749681 by R's phyper over
// every table (stats/dealt_test.go); the exact binomial test, which does not decide there, would have 0.836. In balanced
// order 21 trials of either kind: R 4.2.2,
//
//	h <- rep(0:21, 22); f <- rep(0:21, each=22)
//	sum(dbinom(h,21,.7)*dbinom(f,21,.3)*(phyper(h-1,21,21,h+f,lower.tail=FALSE) <= .05))
func TestPlanShowsThePowerOfTheTestThatDecides(t *testing.T) {
	for name, c := range map[string]struct {
		design trials.Design
		order  trials.Order
		want   float64
	}{
		"ABX": {trials.ABX, trials.Independent, 0.8359988}, "ABX, balanced": {trials.ABX, trials.Balanced, 0.7437839721635},
		"pairs": {trials.SameDifferent, trials.Independent, 0.749680955577},
	} {
		p := onePlan(42, 0.4)
		p.Design, p.Order = c.design, c.order
		if at, err := p.PowerAt(42, 0.7); err != nil || math.Abs(at.Power-c.want) > 1e-7 {
			t.Errorf("%s: power %v, want %v (%v)", name, at.Power, c.want, err)
		}
		r, err := reportPlan(p, familyOfOne(p))
		must(t, err)
		// The study judges a first test at a little less than alpha, see link.Family.
		p.Alpha = familyOfOne(p).TestLevel(p)
		row := r.Power[1]
		if at, err := p.PowerAt(42, 0.7); err != nil || row.PTrue != 0.7 || row.Power != at.Power {
			t.Errorf("%s: power %v at %v, want %v (%v)", name, row.Power, row.PTrue, at.Power, err)
		}
		if fisher := name != "ABX"; fisher != (*row.Needed > 42) {
			t.Errorf("%s: %d trials for a chance of 0.8", name, *row.Needed)
		}
	}
}

func TestPlanForATinyEffectIsStillShown(t *testing.T) {
	r, err := reportPlan(onePlan(16, 0.0005), familyOfOne(onePlan(16, 0.0005)))
	must(t, err)
	if last := r.Power[len(r.Power)-1]; last.Needed != nil {
		t.Errorf("an effect of 0.0005 in %d trials", *last.Needed)
	}
}

// A sequential plan keeps both risks at the exact recursion of its own boundaries.
func TestSequentialPlanShowsItsRisks(t *testing.T) {
	p := onePlan(60, 0.6)
	made, err := study.MakeLooks(trials.ABX, "evidence", 60, 0, p.SmallestEffect, p.Alpha, p.Alpha)
	must(t, err)
	p.Looks = &made.Looks
	must(t, p.Validate())
	r, err := reportPlan(p, familyOfOne(p))
	must(t, err)
	for _, c := range r.Course {
		if c.P == 0.5 && c.Heard > p.Alpha {
			t.Errorf("a guesser is heard with probability %v", c.Heard)
		}
		if c.P == stats.FromDiscriminators(p.SmallestEffect, p.Design.Chance()) && c.RuledOut > p.Alpha {
			t.Errorf("the smallest effect is ruled out with probability %v", c.RuledOut)
		}
	}
	if len(r.Course) != 4 || len(r.Power) != 0 {
		t.Errorf("%d courses and %d powers of a sequential plan", len(r.Course), len(r.Power))
	}
}

// What "plan new" says of a sequential plan is what becomes of listeners who are followed answer by answer.
func TestCoursesOfSequentialPlansAreThoseOfSimulatedListeners(t *testing.T) {
	const listeners = 20000
	random := rand.New(rand.NewPCG(60, 4))
	for _, boundary := range []string{"evidence", "obrien-fleming", "pocock"} {
		p := onePlan(60, 0.4)
		looks := 4
		if boundary == "evidence" {
			looks = 0
		}
		made, err := study.MakeLooks(p.Design, boundary, 60, looks, p.SmallestEffect, p.Alpha, p.Alpha)
		must(t, err)
		p.Looks = &made.Looks
		r, err := reportPlan(p, familyOfOne(p))
		must(t, err)
		for _, c := range r.Course {
			var heard, ruledOut, answers float64
			for range listeners {
				said, n := followed(p.Looks, func() bool { return random.Float64() < c.P })
				answers += float64(n) / listeners
				switch said {
				case trials.StopHeard:
					heard += 1. / listeners
				case trials.StopRuledOut:
					ruledOut += 1. / listeners
				}
			}
			for what, pair := range map[string][2]float64{"heard": {heard, c.Heard}, "ruled out": {ruledOut, c.RuledOut}} {
				if se := math.Sqrt(pair[1] * (1 - pair[1]) / listeners); math.Abs(pair[0]-pair[1]) > 4*se+1e-4 {
					t.Errorf("%s, right %.2f: %s %.4f of simulated listeners, %.4f said", boundary, c.P, what, pair[0], pair[1])
				}
			}
			if math.Abs(answers-c.Expected) > 0.6 { // four standard errors: the number of answers varies by 20 at most
				t.Errorf("%s, right %.2f: %.2f answers on average, %.2f said", boundary, c.P, answers, c.Expected)
			}
		}
	}
}

// followed is one listener through a sequential plan: what its looks say, and after how many answers.
func followed(l *stats.Looks, right func() bool) (trials.Stop, int) {
	answered, correct := 0, 0
	for i, n := range l.Trials {
		for ; answered < n; answered++ {
			if right() {
				correct++
			}
		}
		switch {
		case correct >= l.Heard[i]:
			return trials.StopHeard, n
		case correct <= l.RuledOut[i]:
			return trials.StopRuledOut, n
		}
	}
	return "", answered
}
