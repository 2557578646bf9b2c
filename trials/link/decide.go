package link

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"heardiff/stats"
	"heardiff/trials"
)

// What is kept, κ, beside tests whose exact size depends on the answers: Fisher's of one listener, and the sum of several.
const (
	keptBesideFisher = 0.02
	keptBesideSum    = 0.05
)

// evidence is all sittings of one question, in the order in which their results became known.
type evidence struct {
	question
	name      string
	foreseen  bool
	share     float64 // of the study's risk
	sittings  []sitting
	listeners []listener // in the order in which their first result became known
	others    []listener // who say nothing of people, where others do
	groups    []string
	ungrouped bool
	smallest  float64 // the smallest effect that any plan of it was to find
}

// listener is whose row a sitting is in: what no device sounded for stands apart.
type listener struct {
	id     string
	silent bool
}

func (l listener) key() string {
	if l.silent {
		return l.id + "\x00silent"
	}
	return l.id
}

func (s sitting) who() listener { return listener{s.heard.Listener, s.heard.Silent} }

// gather sorts the sessions by question. Listeners of whom a negative control shows that something leaks are in leaking.
func gather(results []Heard, f Family, m memory) (all []*evidence, leaking map[string]Control) {
	people := ofPeople(results)
	index := map[question]*evidence{}
	foreseen, others := 0, 0
	for _, h := range asTheyCame(results) {
		for _, s := range sittingsOf(h, f, m) {
			e, ok := index[s.question]
			if !ok {
				e = &evidence{question: s.question, name: s.name, smallest: math.Inf(1)}
				// What was planned by number alone is taken by whichever comes first.
				if e.foreseen = f.planned[s.question] || foreseen < f.Comparisons-len(f.planned); e.foreseen && !f.planned[s.question] {
					foreseen++
				} else if !e.foreseen {
					others++
				}
				e.share = f.questionShare(e.foreseen, others)
				index[s.question], all = e, append(all, e)
			}
			s.counted = h.counts(people)
			e.add(s)
		}
	}
	return all, leaks(results)
}

// asTheyCame returns the sessions in the order in which their results became known. Each look then sees a beginning of one
// and the same order, which is what evidence that is multiplied session by session asks for. By the time of their end,
// a bundle that comes late would push earlier sessions out of their places in what was judged already, and each bundle
// would be a further chance to be right by luck.
func asTheyCame(results []Heard) []Heard {
	came := slices.Clone(results)
	slices.SortFunc(came, func(a, b Heard) int {
		return cmp.Or(cmp.Compare(a.Arrived, b.Arrived), a.Ended.Compare(b.Ended), cmp.Compare(a.Session, b.Session))
	})
	return came
}

// voidMark is what is known against the session's blindness, and voids it; "" where nothing is.
func (h Heard) voidMark() string {
	for _, m := range h.Marks {
		if m.Voids {
			return m.Says
		}
	}
	return ""
}

// leaks returns the negative controls of listeners who passed them, over all their sessions: something besides sound tells
// what they heard.
func leaks(results []Heard) map[string]Control {
	controls := map[string]Control{}
	for _, h := range results {
		controls[h.Listener] = controls[h.Listener].plus(h, trials.NegativeControl)
	}
	maps.DeleteFunc(controls, func(_ string, c Control) bool { return !passed(c, LeakAlpha) })
	return controls
}

func (e *evidence) add(s sitting) {
	e.sittings, e.smallest = append(e.sittings, s), math.Min(e.smallest, s.heard.Plan.SmallestEffect)
	if !s.counted {
		if !slices.Contains(e.others, s.who()) {
			e.others = append(e.others, s.who())
		}
		return
	}
	if !slices.Contains(e.listeners, s.who()) {
		e.listeners = append(e.listeners, s.who())
	}
	switch g := s.heard.Group; {
	case g == "":
		e.ungrouped = true
	case !slices.Contains(e.groups, g):
		e.groups = append(e.groups, g)
	}
}

func (c Control) plus(h Heard, kind trials.Kind) Control {
	asked := stats.Guesses{Chance: h.Plan.Design.Chance()}
	for _, t := range h.Tallies {
		if t.Comparison.Kind == kind {
			c.Correct, asked.Trials = c.Correct+t.Correct, asked.Trials+t.Trials
		}
	}
	c.Trials += asked.Trials
	c.asked = stats.AddGuesses(c.asked, asked)
	return c
}

// sittingsOf returns what a session came to, question by question, those without an answer left out.
func sittingsOf(h Heard, f Family, m memory) []sitting {
	counted := map[string]trials.Tally{}
	for _, t := range h.Tallies {
		counted[t.Comparison.Name] = t
	}
	plan := planOf(h)
	inattentive := missed(Control{}.plus(h, trials.PositiveControl), f.Alpha)
	var all []sitting
	for _, a := range asked(plan) {
		s := sitting{asking: a, heard: h, inattentive: inattentive}
		for _, name := range a.parts {
			s.count(counted[name])
		}
		if s.Trials == 0 {
			continue
		}
		s.Planned = s.Trials
		if h.GivenUp {
			s.Planned = max(s.Trials, a.planned)
		}
		s.Smallest = stats.FromDiscriminators(plan.SmallestEffect, plan.Design.Chance())
		s.setStakes(f, m)
		all = append(all, s)
	}
	return all
}

func (s *sitting) count(t trials.Tally) {
	s.Trials, s.Correct = s.Trials+t.Trials, s.Correct+t.Correct
	s.pairs = plus(s.pairs, stats.Pairs{Hits: t.Hits, Misses: t.Misses, FalseAlarms: t.FalseAlarms, CorrectRejections: t.CorrectRejections})
	s.answers = plus(s.answers, t.Answers.Pairs())
}

func plus(a, b stats.Pairs) stats.Pairs {
	return stats.Pairs{Hits: a.Hits + b.Hits, Misses: a.Misses + b.Misses, FalseAlarms: a.FalseAlarms + b.FalseAlarms,
		CorrectRejections: a.CorrectRejections + b.CorrectRejections}
}

func bothKinds(p stats.Pairs) bool {
	return p.Hits+p.Misses > 0 && p.FalseAlarms+p.CorrectRejections > 0
}

// table is the answers by what was right, where the exact binomial p is not valid, or not the best: a habit of answering
// costs designs judged by rates, and counting helps in balanced order.
func (s *sitting) table() *stats.Pairs {
	switch {
	case s.design.ByRates():
		return &s.pairs
	case s.heard.Plan.Order == trials.Balanced && bothKinds(s.answers):
		return &s.answers
	}
	return nil
}

// setStakes sets the planned tests that are not exact binomial ones.
func (s *sitting) setStakes(f Family, m memory) {
	if s.heard.Plan.Sequential() {
		s.Up, s.Down = m.stakes(s.heard, s.Correct, s.Trials, f)
		return
	}
	t := s.table()
	if t == nil {
		return
	}
	if s.heard.Plan.Order == trials.Balanced {
		s.Dealt = t
	}
	s.Up = &stats.Stake{Kept: keptBesideFisher}
	if s.Trials >= s.Planned && bothKinds(*t) {
		s.Up.LnP = stats.ConditionalP([]stats.Pairs{*t})
	}
	if s.design.ByRates() {
		s.Down = &stats.Stake{Kept: keptBesideFisher, Passed: func(limit, lnLevel float64) bool {
			return s.Trials >= s.Planned && t.UpperDiscriminators(1-math.Exp(lnLevel)) < stats.Discriminators(limit, s.design.Chance())
		}}
	}
}

func bare(all []sitting) []stats.Sitting {
	out := make([]stats.Sitting, len(all))
	for i, s := range all {
		out[i] = s.Sitting
	}
	return out
}

// VoidSessions returns why sessions are in no sum of the study, by their ids: a listener's negative controls were passed,
// the positive control was missed, or something is known against the session's blindness.
func VoidSessions(results []Heard, f Family) map[string]string {
	leaking, why := leaks(results), map[string]string{}
	for _, h := range results {
		_, leaks := leaking[h.Listener]
		switch {
		case leaks:
			why[h.Session] = "the listener's negative controls were passed"
		case missed(Control{}.plus(h, trials.PositiveControl), f.Alpha):
			why[h.Session] = "the positive control was missed"
		case h.voidMark() != "":
			why[h.Session] = h.voidMark()
		}
	}
	return why
}

// share gives each row its p over the whole study, and its bound. It returns what the risk is shared among.
func share(rows []*tallied, f Family, m memory) []QuestionShare {
	index := map[*evidence]int{}
	var questions []stats.Question
	var claims [][]*tallied
	for _, r := range rows {
		i, ok := index[r.evidence]
		if !ok {
			i = len(questions)
			index[r.evidence] = i
			questions = append(questions, stats.Question{Share: r.share, Planned: r.foreseen, Complete: r.evidence.complete(f)})
			claims = append(claims, nil)
		}
		r.alpha, r.PStudy = f.Alpha, 1
		r.Claim = ClaimShare{i, r.claimShare, r.claimForeseen, r.planned, r.counted()}
		r.UpperPD = r.bound(m)
		if r.claimShare == 0 {
			continue
		}
		questions[i].Claims = append(questions[i].Claims, stats.Claim{LnP: r.claim(m), Share: r.claimShare, Planned: r.claimForeseen})
		claims[i] = append(claims[i], r)
	}
	for i, adjusted := range stats.AdjustFamily(questions) {
		for k, ln := range adjusted {
			claims[i][k].PStudy, claims[i][k].Log10PStudy = math.Exp(ln), ln/math.Ln10
		}
	}
	onlyListener(rows)
	shares := make([]QuestionShare, len(questions))
	for i, q := range questions {
		shares[i] = QuestionShare{q.Share, q.Planned, q.Complete}
	}
	return shares
}

// complete reports whether all listeners and groups that were planned have sat.
func (e *evidence) complete(f Family) bool {
	for g := range f.Groups {
		if !slices.Contains(e.groups, g) {
			return false
		}
	}
	return len(e.listeners) >= f.Listeners
}

// onlyListener copies what holds for the only listener of a study planned for one to the row of all.
func onlyListener(rows []*tallied) {
	only := map[*evidence]*tallied{}
	for _, r := range rows {
		if r.counted() {
			only[r.evidence] = r
		}
	}
	for _, r := range rows {
		if r.claimShare == 0 {
			one := only[r.evidence]
			r.PStudy, r.Log10PStudy, r.UpperPD = one.PStudy, one.Log10PStudy, one.UpperPD
		}
	}
}

// counted reports whether the row is of a listener who is added up with others.
func (r *tallied) counted() bool {
	return r.Kind == "listener" && len(r.sittings) > 0 && r.sittings[0].counted
}

// claim is ln of the p of the row's null, valid at any time and not corrected for the other rows.
func (r *tallied) claim(m memory) float64 {
	switch {
	case r.Kind != "listener":
		return together(r.sittings, r.planned)
	case r.leak != nil:
		return 0
	}
	return m.ofOne(r.sittings, r.level())
}

// level is the row's own share of the risk.
func (r *tallied) level() float64 { return r.alpha * r.share * r.claimShare }

func (r *tallied) bound(m memory) float64 {
	switch {
	case r.leak != nil || len(r.sittings) == 0:
		return 1
	case r.Kind == "listener":
		return m.boundOfOne(r.sittings, r.alpha)
	}
	return m.boundTogether(r.sittings, r.planned, r.alpha)
}

// chanceOf is how often a guesser is right in the design of sittings of one question; without any there is nothing to be
// right about.
func chanceOf(all []sitting) float64 {
	if len(all) == 0 {
		return math.NaN()
	}
	return all[0].design.Chance()
}

// one is ln of the p of one listener's sittings against guessing, valid at any time.
func one(all []sitting, alpha float64) float64 {
	return stats.AnytimeP(stats.Upward(bare(all), chanceOf(all), alpha))
}

// together is ln of the p of several listeners' sittings against guessing by all. Where the plan said how many would sit
// and they did, the exact test of their sum has most of the risk; what is kept goes by the evidence, valid at any time.
func together(all []sitting, planned int) float64 {
	kept, best := keptBesidePanel(all, planned), 0.0
	if panel := panelOf(all, planned); panel != nil {
		best = math.Min(0, sumUp(panel)-math.Log1p(-kept))
	}
	return math.Min(best, -math.Log(kept)-stats.MostEvidence(bare(all), chanceOf(all)))
}

// keptBesidePanel is the part of the risk that the evidence of several listeners has. What the exact test of their sum is
// to have is set aside from the first session on, else what was looked at before they were complete would come on top.
func keptBesidePanel(all []sitting, planned int) float64 {
	if planned < 1 || len(all) == 0 || all[0].heard.Plan.Sequential() {
		return 1
	}
	return keptBesideSum
}

// panelOf returns the first session of each of the first listeners, as many as planned, with the first plan; nil while they
// are fewer, where none were planned, and for sequential plans, whose number of trials is not fixed.
func panelOf(all []sitting, planned int) []sitting {
	if keptBesidePanel(all, planned) == 1 {
		return nil
	}
	var panel []sitting
	seen := map[string]bool{}
	for _, s := range all {
		if len(panel) < planned && !seen[s.heard.Listener] && s.heard.Plan.ID == all[0].heard.Plan.ID {
			seen[s.heard.Listener] = true
			panel = append(panel, s)
		}
	}
	if len(panel) < planned {
		return nil
	}
	return panel
}

// sumUp is ln of the exact p of a panel's right answers; what was not asked for a session was given up counts as wrong.
func sumUp(panel []sitting) float64 {
	var tables []stats.Pairs
	k, n := 0, 0
	for _, s := range panel {
		k, n = k+s.Correct, n+s.Planned
		if t := s.table(); t != nil {
			if s.Trials < s.Planned || !bothKinds(*t) {
				return 0
			}
			tables = append(tables, *t)
		}
	}
	if len(tables) == len(panel) {
		return stats.ConditionalP(tables)
	}
	if len(tables) > 0 {
		return 0
	}
	return stats.LnUpperTail(k, n, chanceOf(panel))
}

// boundOne bounds p_d of one listener from above at the level alpha, over all attentive sittings.
func boundOne(all []sitting, alpha float64) float64 {
	var attentive []stats.Sitting
	for _, s := range all {
		if !s.inattentive {
			attentive = append(attentive, s.Sitting)
		}
	}
	if len(attentive) == 0 {
		return 1
	}
	chance := chanceOf(all)
	return stats.Discriminators(stats.UpperBound(attentive, chance, alpha), chance)
}

// boundTogether bounds the mean p_d of several listeners, each counting by their trials, from above.
func (m memory) boundTogether(all []sitting, planned int, alpha float64) float64 {
	kept, bound := keptBesidePanel(all, planned), 1.0
	if panel := panelOf(all, planned); panel != nil {
		bound = m.boundPanel(panel, (1-kept)*alpha)
	}
	k, n := 0, 0
	for _, s := range all {
		k, n = k+s.Correct, n+s.Trials
		if s.Dealt != nil { // the evidence of a balanced deal holds for whole sessions: what was not asked counts as right
			k, n = k+s.Planned-s.Trials, n+s.Planned-s.Trials
		}
	}
	return math.Min(bound, m.boundByEvidence(bounded{chanceOf(all), k, n, kept * alpha}))
}

func (m memory) boundPanel(panel []sitting, alpha float64) float64 {
	var sum stats.Pairs
	k, n, whole := 0, 0, true
	for _, s := range panel {
		whole = whole && s.Trials >= s.Planned
		k, n, sum = k+s.Correct+s.Planned-s.Trials, n+s.Planned, plus(sum, s.pairs)
	}
	if !panel[0].design.ByRates() {
		return m.boundByCount(bounded{chanceOf(panel), k, n, alpha})
	}
	if !whole || !bothKinds(sum) {
		return 1
	}
	return sum.UpperDiscriminators(1 - alpha)
}
