package trials

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
)

// memory is a journal that can be made to fail.
type memory struct {
	entries []Entry
	broken  bool
}

func (m *memory) Append(e Entry) error {
	if m.broken {
		return errors.New("disk full")
	}
	m.entries = append(m.entries, e)
	return nil
}

func clock() func() time.Time {
	t := time.Date(2030, 5, 6, 7, 8, 9, 123456789, time.UTC)
	return func() time.Time { t = t.Add(1500 * time.Millisecond); return t }
}

func testPlan(d Design, n int) Plan {
	return Plan{
		ID: "p1", Design: d, Alpha: 0.05, SmallestEffect: 0.3,
		Comparisons: []Comparison{{Name: "one", A: "left", B: "right", Excerpt: "e", AudioA: "aa", AudioB: "bb", Trials: n}},
	}
}

func begin(t *testing.T, p Plan, seed Seed) (*Session, *memory) {
	t.Helper()
	m := &memory{}
	s, err := Begin("s1", Seat{}, p, seed, m, clock())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Open(""); err != nil {
		t.Fatal(err)
	}
	return s, m
}

func hearAll(s *Session) {
	for _, l := range s.plan.Design.Labels() {
		s.Heard(l, 4800)
	}
}

// oracle answers correctly from what Route gives to playback.
func oracle(t *testing.T, s *Session) Answer {
	t.Helper()
	var heard []Source
	for _, l := range s.plan.Design.Labels() {
		cue, err := s.Route(l)
		if err != nil {
			t.Fatal(err)
		}
		heard = append(heard, cue.Source())
	}
	switch s.plan.Design {
	case ABX:
		return []Answer{AnswerA, AnswerB}[heard[2]]
	case SameDifferent:
		if heard[0] == heard[1] {
			return AnswerSame
		}
		return AnswerDifferent
	case TwoInterval:
		return []Answer{"1", "2"}[heard[1]]
	}
	switch { // triangle
	case heard[0] == heard[1]:
		return "3"
	case heard[0] == heard[2]:
		return "2"
	}
	return "1"
}

func answer(t *testing.T, s *Session, a Answer) {
	t.Helper()
	hearAll(s)
	if err := s.Ask(a, 3); err != nil {
		t.Fatal(err)
	}
	if err := s.Confirm(); err != nil {
		t.Fatal(err)
	}
}

func TestOracleIsAlwaysRightAndCoinIsAtChance(t *testing.T) {
	for _, d := range Designs() {
		s, m := begin(t, testPlan(d, 50), Seed{1})
		for s.View().Phase != Done {
			answer(t, s, oracle(t, s))
		}
		r, err := s.Result(m.entries)
		if err != nil || r.Tallies[0].Correct != 50 || r.Tallies[0].Trials != 50 {
			t.Errorf("%s: oracle got %d of %d, error %v", d, r.Tallies[0].Correct, r.Tallies[0].Trials, err)
		}
		const n = 4000
		s, m = begin(t, testPlan(d, n), Seed{2})
		for s.View().Phase != Done {
			answer(t, s, d.Answers()[0])
		}
		r, err = s.Result(m.entries)
		if err != nil {
			t.Fatal(err)
		}
		// 4.4 standard deviations of the binomial: fails by chance once in 100 000 seeds.
		p := 1 / float64(len(d.Answers()))
		if got := float64(r.Tallies[0].Correct); math.Abs(got-n*p) > 4.4*math.Sqrt(n*p*(1-p)) {
			t.Errorf("%s: constant answers were right %v times of %d", d, got, n)
		}
	}
}

func TestNoAnswerIsTakenBeforeTheTrialWasHeard(t *testing.T) {
	for _, c := range []struct {
		name   string
		design Design
		heard  []Label
		ok     bool
	}{
		{"nothing", ABX, nil, false},
		{"X alone", ABX, []Label{LabelX}, false},
		{"references alone", ABX, []Label{LabelA, LabelB}, false},
		{"X and one reference", ABX, []Label{LabelX, LabelB}, true},
		{"first alone", SameDifferent, []Label{LabelFirst}, false},
		{"both of a pair", SameDifferent, []Label{LabelFirst, LabelSecond}, true},
	} {
		s, _ := begin(t, testPlan(c.design, 2), Seed{3})
		for _, l := range c.heard {
			s.Heard(l, 1)
		}
		err := s.Ask(c.design.Answers()[0], 0)
		if ok := err == nil; ok != c.ok {
			t.Errorf("%s, %s: error %v", c.design, c.name, err)
		}
		if err != nil && !errors.Is(err, ErrNotHeard) {
			t.Errorf("%s: %v is not ErrNotHeard", c.name, err)
		}
	}
}

func TestAnswerIsKeptBeforeTheNextTrial(t *testing.T) {
	s, m := begin(t, testPlan(ABX, 3), Seed{4})
	hearAll(s)
	if err := s.Ask(AnswerA, 0); err != nil {
		t.Fatal(err)
	}
	m.broken = true
	if err := s.Confirm(); err == nil {
		t.Fatal("a full disk went unnoticed")
	}
	if v := s.View(); v.Trial != 1 || v.Phase != Asked {
		t.Errorf("after a failed write: trial %d, phase %d", v.Trial, v.Phase)
	}
	m.broken = false
	if err := s.Confirm(); err != nil || s.View().Trial != 2 {
		t.Errorf("the answer could not be confirmed again: %v", err)
	}
}

func TestViewIsTheSameForEveryAssignment(t *testing.T) {
	for _, d := range Designs() {
		var want []string
		for seed := range byte(20) {
			s, _ := begin(t, testPlan(d, 6), Seed{seed})
			var got []string
			for s.View().Phase != Done {
				got = append(got, fmt.Sprintf("%+v", s.View()))
				answer(t, s, d.Answers()[0])
			}
			if want == nil {
				want = got
			}
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("%s: the view depends on the seed", d)
			}
		}
	}
}

func TestHiddenPartsPrintAsNothing(t *testing.T) {
	var texts [2]string
	for i := range texts {
		c, tr := Cue{source: Source(i)}, trial{hidden: &assignment{sounds: []Source{Source(i)}, right: Answer(fmt.Sprint(i))}}
		texts[i] = fmt.Sprintf("%v %+v %#v %s %v %+v %#v %v", c, c, c, c, tr, tr, tr, Seed{byte(i)})
	}
	if texts[0] != texts[1] {
		t.Errorf("%q differs from %q", texts[0], texts[1])
	}
}

func TestResumeComesBackToTheSameTrial(t *testing.T) {
	p := testPlan(SameDifferent, 12)
	for stop := range 12 {
		s, m := begin(t, p, Seed{9})
		for range stop {
			answer(t, s, AnswerSame)
		}
		if stop%3 == 1 {
			if err := s.Void("a lorry"); err != nil {
				t.Fatal(err)
			}
		}
		want := [2]Answer{oracle(t, s)}
		again, err := Resume(p, Seed{9}, m.entries, m, clock())
		if err != nil {
			t.Fatal(err)
		}
		if got := [2]Answer{oracle(t, again)}; got != want || again.View().Trial != s.View().Trial {
			t.Errorf("after %d answers: another trial", stop)
		}
	}
}

func TestBlindUntilTheEnd(t *testing.T) {
	s, m := begin(t, testPlan(ABX, 2), Seed{5})
	if _, err := s.Result(m.entries); !errors.Is(err, ErrBlind) {
		t.Errorf("before the end: %v", err)
	}
	if err := s.GiveUp("tired"); err != nil {
		t.Fatal(err)
	}
	r, err := s.Result(m.entries)
	if err != nil || !r.GivenUp || r.Tallies[0].Trials != 0 {
		t.Errorf("given up: %+v, %v", r, err)
	}
}

func TestVoidTrialsAreAskedAnew(t *testing.T) {
	s, m := begin(t, testPlan(ABX, 3), Seed{6})
	if err := s.Void(""); err == nil {
		t.Error("voided without a reason")
	}
	if err := s.Void("telephone"); err != nil {
		t.Fatal(err)
	}
	for s.View().Phase != Done {
		answer(t, s, AnswerA)
	}
	r, err := s.Result(m.entries)
	if err != nil || r.Voids != 1 || r.Tallies[0].Trials != 3 || len(r.Trials) != 4 || r.Trials[0].Void != "telephone" {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestChangedJournalIsNamed(t *testing.T) {
	s, m := begin(t, testPlan(ABX, 4), Seed{7})
	for s.View().Phase != Done {
		answer(t, s, AnswerA)
	}
	p := s.Plan()
	if _, err := Reveal(p, m.entries); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		change func(e []Entry) []Entry
		want   string
	}{
		{"answer changed", func(e []Entry) []Entry { e[3].Answer = AnswerB; return e }, "entry 4 was changed"},
		{"answer changed and hashed anew", func(e []Entry) []Entry {
			e[3].Answer = AnswerB
			e[3].Hash = e[3].Digest()
			return e
		}, "entry 5 does not follow"},
		{"removed", func(e []Entry) []Entry { return append(e[:3], e[4:]...) }, "entry 5 is in the place of entry 4"},
		{"swapped", func(e []Entry) []Entry { e[2], e[3] = e[3], e[2]; return e }, "entry 4 is in the place of entry 3"},
	} {
		changed := c.change(append([]Entry{}, m.entries...))
		if _, err := Reveal(p, changed); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	p.Alpha = 0.1
	if _, err := Reveal(p, m.entries); err == nil || !strings.Contains(err.Error(), "seal") {
		t.Errorf("a changed plan: %v", err)
	}
}

func TestPracticeComesFirstWithFeedback(t *testing.T) {
	p := testPlan(ABX, 3)
	p.Comparisons = append(p.Comparisons, Comparison{Name: "try", Kind: Practice, AudioA: "aa", AudioB: "cc", Trials: 2})
	s, m := begin(t, p, Seed{8})
	for i := 0; s.View().Phase != Done; i++ {
		v := s.View()
		if v.Practice != (i < 2) {
			t.Errorf("trial %d: practice %v", i+1, v.Practice)
		}
		if (v.Feedback != nil) != (i == 1 || i == 2) {
			t.Errorf("trial %d: feedback %v", i+1, v.Feedback)
		}
		answer(t, s, oracle(t, s))
	}
	r, _ := s.Result(m.entries)
	if r.Tallies[0].Trials != 3 || r.Tallies[1].Trials != 2 {
		t.Errorf("tallies %+v", r.Tallies)
	}
}

func TestBalancedOrderHasEachAssignmentEquallyOften(t *testing.T) {
	p := testPlan(SameDifferent, 40)
	p.Order = Balanced
	count := map[*assignment]int{}
	for _, tr := range deal(p, Seed{1}) {
		count[tr.hidden]++
	}
	for a, n := range count {
		if n != 10 {
			t.Errorf("assignment %v came %d times", a.sounds, n)
		}
	}
}

// Assignments must not depend on those before: the count of each pair of neighbours is binomial.
func TestIndependentOrderIsAFairCoin(t *testing.T) {
	const n = 20_000
	p := testPlan(ABX, MaxTrials)
	var pairs [2][2]int
	last := SourceA
	for seed := range byte(n / MaxTrials) {
		for _, tr := range deal(p, Seed{seed, 77}) {
			pairs[last][tr.hidden.sounds[2]]++
			last = tr.hidden.sounds[2]
		}
	}
	for i := range 2 {
		for j := range 2 {
			if dev := math.Abs(float64(pairs[i][j])-n/4) / math.Sqrt(n*0.25*0.75); dev > 4.5 {
				t.Errorf("pair %d%d came %d times: %.1f standard deviations off", i, j, pairs[i][j], dev)
			}
		}
	}
}

func TestPlanRejectsWhatMakesNoTest(t *testing.T) {
	good := testPlan(ABX, 16)
	if err := good.Validate(); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*Plan){
		"no design":           func(p *Plan) { p.Design = Design{} },
		"alpha 0":             func(p *Plan) { p.Alpha = 0 },
		"alpha not a number":  func(p *Plan) { p.Alpha = math.NaN() },
		"no trials":           func(p *Plan) { p.Comparisons[0].Trials = 0 },
		"no comparisons":      func(p *Plan) { p.Comparisons = nil },
		"same audio, scored":  func(p *Plan) { p.Comparisons[0].AudioB = "aa" },
		"effect out of range": func(p *Plan) { p.SmallestEffect = 1.5 },
		"rest for ever":       func(p *Plan) { p.RestMinutes = math.Inf(1) },
		"as a coin decides":   func(p *Plan) { p.Alpha = 0.51 },
		"rest after a day":    func(p *Plan) { p.RestMinutes = 24*60 + 1 },
		"more than a minute":  func(p *Plan) { p.LeastSeconds = 61 },
		"a city of listeners": func(p *Plan) { p.Study = &Scope{Listeners: 1_000_001} },
	} {
		p := testPlan(ABX, 16)
		change(&p)
		if p.Validate() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestNegativeControlIsAtChanceForEveryHabit(t *testing.T) {
	for _, d := range Designs() {
		for _, habit := range d.Answers() {
			p := testPlan(d, 1)
			p.Comparisons = append(p.Comparisons, Comparison{Name: "none", Kind: NegativeControl, AudioA: "aa", AudioB: "aa", Trials: 2000})
			s, m := begin(t, p, Seed{11})
			for s.View().Phase != Done {
				answer(t, s, habit)
			}
			r, err := s.Result(m.entries)
			if err != nil {
				t.Fatal(err)
			}
			// 4.4 standard deviations of the binomial
			p0 := 1 / float64(len(d.Answers()))
			if got := float64(r.Tallies[1].Correct); math.Abs(got-2000*p0) > 4.4*math.Sqrt(2000*p0*(1-p0)) {
				t.Errorf("%s, always %s: right %v times of 2000", d, habit, got)
			}
		}
	}
}
