package link

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"heardiff/stats"
	"heardiff/trials"
)

// The share κ of the risk that is kept for later next to tests whose exact size depends on the answers: Fisher's test of one
// listener, and the sum of several (judgement, no source; TestNobodyHearsAndNoStudySaysSo and TestPowerThatTheStudyKeeps hold them).
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
	others    []listener // simulated or silent, where there are also people
	groups    []string
	ungrouped bool
	smallest  float64 // the smallest of the effects that its plans were to find
}

// listener identifies the row of a sitting: silent sittings have a row of their own.
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

// gather groups the sessions by question. leaking holds the listeners whose negative controls show that something leaks.
func gather(results []Heard, f Family, m memo) (all []*evidence, leaking map[string]Control) {
	people := ofPeople(results)
	index := map[question]*evidence{}
	foreseen, others := 0, 0
	for _, h := range asTheyCame(results) {
		for _, s := range sittingsOf(h, f, m) {
			e, ok := index[s.question]
			if !ok {
				e = &evidence{question: s.question, name: s.name, smallest: math.Inf(1)}
				// Comparisons that were planned only by number are whichever come first.
				if e.foreseen = f.planned[s.question] || foreseen < f.Comparisons-len(f.planned); e.foreseen && !f.planned[s.question] {
					foreseen++
				} else if !e.foreseen {
					others++
				}
				e.share = f.questionShare(e.foreseen, others)
				index[s.question], all = e, append(all, e)
			}
			s.counted = h.ofPeople() || !people // where there are people, the others have rows of their own
			e.add(s)
		}
	}
	return all, leaks(results)
}

// asTheyCame returns the sessions in the order in which their results became known. Every look then sees a prefix of the same
// sequence, as evidence that is multiplied session by session requires. Sorted by time, a bundle that is imported late would
// displace earlier sessions in what was already judged, and every bundle would be a further chance of a lucky result.
func asTheyCame(results []Heard) []Heard {
	came := slices.Clone(results)
	slices.SortFunc(came, func(a, b Heard) int {
		return cmp.Or(cmp.Compare(a.Arrived, b.Arrived), a.Ended.Compare(b.Ended), cmp.Compare(a.Session, b.Session))
	})
	return came
}

// voidMark returns the mark that voids the session, "" for none.
func (h Heard) voidMark() string {
	for _, m := range h.Marks {
		if m.Voids {
			return m.Says
		}
	}
	return ""
}

// leaks returns the negative controls of listeners who passed them, over all their sessions: something other than sound gives
// away the answers.
func leaks(results []Heard) map[string]Control {
	controls := map[string]Control{}
	for _, h := range results {
		controls[h.Listener] = controls[h.Listener].plus(h, trials.NegativeControl)
	}
	maps.DeleteFunc(controls, func(_ string, c Control) bool { return !c.Leaks() })
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

// sittingsOf returns the outcome of a session for each question that has an answer.
func sittingsOf(h Heard, f Family, m memo) []sitting {
	counted := map[string]trials.Tally{}
	for _, t := range h.Tallies {
		counted[t.Comparison.Name] = t
	}
	plan := planOf(h)
	inattentive := Control{}.plus(h, trials.PositiveControl).Missed(f.Alpha)
	var all []sitting
	for _, a := range questionsOf(plan) {
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

// table returns the answers by what was right, where the exact binomial p is not valid or not the most powerful: response bias
// costs power in designs judged by rates, and counting helps the listener in balanced order. nil elsewhere.
func (s *sitting) table() *stats.Pairs {
	switch {
	case s.design.ByRates():
		return &s.pairs
	case s.heard.Plan.Order == trials.Balanced && bothKinds(s.answers):
		return &s.answers
	}
	return nil
}

// setStakes sets the planned tests other than the exact binomial test.
func (s *sitting) setStakes(f Family, m memo) {
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

func statsSittings(all []sitting) []stats.Sitting {
	out := make([]stats.Sitting, len(all))
	for i, s := range all {
		out[i] = s.Sitting
	}
	return out
}

// VoidSessions returns the reasons why sessions are excluded from all sums of the study, by their ids: a listener's negative
// controls were passed, the positive control was missed, or a mark says that the session was not blind.
func VoidSessions(results []Heard, f Family) map[string]string {
	leaking, why := leaks(results), map[string]string{}
	for _, h := range results {
		_, leaks := leaking[h.Listener]
		switch {
		case leaks:
			why[h.Session] = "the listener's negative controls were passed"
		case Control{}.plus(h, trials.PositiveControl).Missed(f.Alpha):
			why[h.Session] = "the positive control was missed"
		case h.voidMark() != "":
			why[h.Session] = h.voidMark()
		}
	}
	return why
}

// share sets each row's p corrected over the study, and its bound. It returns the questions' shares of the risk.
func share(rows []*tallied, f Family, m memo) []QuestionShare {
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

// complete reports whether all planned listeners and groups have taken part.
func (e *evidence) complete(f Family) bool {
	for g := range f.Groups {
		if !slices.Contains(e.groups, g) {
			return false
		}
	}
	return len(e.listeners) >= f.Listeners
}

// onlyListener copies the result of the only listener of a study planned for one to the row of all.
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

// counted reports whether the row is for a listener who is included in the sums.
func (r *tallied) counted() bool {
	return r.Kind == "listener" && len(r.sittings) > 0 && r.sittings[0].counted
}

// claim is ln of the p of the row's null hypothesis, valid at any time and not corrected for the other rows.
func (r *tallied) claim(m memo) float64 {
	switch {
	case r.Kind != "listener":
		return lnPTogether(r.sittings, r.planned)
	case r.leak != nil:
		return 0
	}
	alpha := r.level()
	return m.once("p", r.sittings, alpha, func() float64 { return lnPOne(r.sittings, alpha) })
}

// level is the row's own share of the risk.
func (r *tallied) level() float64 { return r.alpha * r.share * r.claimShare }

func (r *tallied) bound(m memo) float64 {
	switch {
	case r.leak != nil || len(r.sittings) == 0:
		return 1
	case r.Kind == "listener":
		return m.once("bound", r.sittings, r.alpha, func() float64 { return boundOne(r.sittings, r.alpha) })
	}
	return m.boundTogether(r.sittings, r.planned, r.alpha)
}

// chanceOf is the chance level of the design of sittings of one question; NaN without sittings.
func chanceOf(all []sitting) float64 {
	if len(all) == 0 {
		return math.NaN()
	}
	return all[0].design.Chance()
}

// lnPOne is ln of the p of one listener's sittings against guessing, valid at any time.
func lnPOne(all []sitting, alpha float64) float64 {
	return stats.AnytimeP(stats.Upward(statsSittings(all), chanceOf(all), alpha))
}

// lnPTogether is ln of the p of several listeners' sittings against guessing by all. Where as many listeners as planned have
// taken part, the exact test of their sum has most of the risk; the rest goes to the evidence, which is valid at any time.
func lnPTogether(all []sitting, planned int) float64 {
	kept, best := keptBesidePanel(all, planned), 0.0
	if panel := panelOf(all, planned); panel != nil {
		best = math.Min(0, lnPSum(panel)-math.Log1p(-kept))
	}
	return math.Min(best, -math.Log(kept)-stats.MostEvidence(statsSittings(all), chanceOf(all)))
}

// keptBesidePanel is the part of the risk that goes to the evidence of several listeners. The part for the exact test of their
// sum is set aside from the first session on: otherwise looks before the panel is complete would add to the risk.
func keptBesidePanel(all []sitting, planned int) float64 {
	if planned < 1 || len(all) == 0 || all[0].heard.Plan.Sequential() {
		return 1
	}
	return keptBesideSum
}

// panelOf returns the first session with the first plan of each of the first listeners, as many as planned; nil while there are
// fewer, where none were planned, and for sequential plans, whose number of trials is not fixed.
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

// lnPSum is ln of the exact p of a panel's right answers; trials that were not asked because a session was given up count as
// wrong.
func lnPSum(panel []sitting) float64 {
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

// boundOne is the upper bound of one listener's p_d at the level alpha, over all attentive sittings.
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

// boundTogether is the upper bound of the mean p_d of several listeners, weighted by their trials.
func (m memo) boundTogether(all []sitting, planned int, alpha float64) float64 {
	kept, bound := keptBesidePanel(all, planned), 1.0
	if panel := panelOf(all, planned); panel != nil {
		bound = m.boundPanel(panel, (1-kept)*alpha)
	}
	k, n := 0, 0
	for _, s := range all {
		k, n = k+s.Correct, n+s.Trials
		if s.Dealt != nil { // the evidence of a balanced deal needs complete sessions: trials not asked count as right
			k, n = k+s.Planned-s.Trials, n+s.Planned-s.Trials
		}
	}
	return math.Min(bound, m.boundByEvidence(boundKey{chanceOf(all), k, n, kept * alpha}))
}

func (m memo) boundPanel(panel []sitting, alpha float64) float64 {
	var sum stats.Pairs
	k, n, complete := 0, 0, true
	for _, s := range panel {
		complete = complete && s.Trials >= s.Planned
		k, n, sum = k+s.Correct+s.Planned-s.Trials, n+s.Planned, plus(sum, s.pairs)
	}
	if !panel[0].design.ByRates() {
		return m.boundByCount(boundKey{chanceOf(panel), k, n, alpha})
	}
	if !complete || !bothKinds(sum) {
		return 1
	}
	return sum.UpperDiscriminators(1 - alpha)
}
