package link

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"heardiff/stats"
	"heardiff/trials"
)

// Family is the set of questions of a study, fixed before its first session begins, and the risk that they share.
type Family struct {
	// Alpha is the accepted risk that the study says 'heard' anywhere where nothing is heard: the alpha of its first plan.
	Alpha float64
	// Listeners is the number of listeners to be tested, Groups how many of them are in each group.
	Listeners int
	Groups    map[string]int
	// Comparisons is the number to be tested; planned holds those of plans made beforehand, at most as many.
	Comparisons int
	planned     map[question]bool
}

// NewFamily returns the family of a study. plans are the study's own plans made before the first session began, in order (or
// the first plan, if there was none by then). groups has one entry for each listener added by then: their group, "" for none.
// A plan that asks for more listeners or comparisons gets them.
func NewFamily(plans []trials.Plan, groups []string) Family {
	f := Family{Listeners: max(1, len(groups)), Groups: map[string]int{}, planned: map[question]bool{}}
	for _, g := range groups {
		f.Groups[g]++
	}
	delete(f.Groups, "")
	if len(f.Groups) < 2 {
		f.Groups = nil // a single group has no row: it is all
	}
	for i, p := range plans {
		if i == 0 {
			f.Alpha = p.Alpha
		}
		for _, a := range questionsOf(p) {
			f.planned[a.question] = true
		}
		if s := p.Study; s != nil {
			f.Listeners, f.Comparisons = max(f.Listeners, s.Listeners), max(f.Comparisons, s.Comparisons)
		}
	}
	f.Comparisons = max(f.Comparisons, len(f.planned), 1)
	return f
}

// familyText is a family as JSON.
type familyText struct {
	Alpha       float64        `json:"alpha"`
	Listeners   int            `json:"listeners"`
	Groups      map[string]int `json:"groups,omitempty"`
	Comparisons int            `json:"comparisons"`
	Planned     []questionText `json:"planned"`
}

type questionText struct {
	A       string        `json:"a"`
	B       string        `json:"b"`
	Excerpt string        `json:"excerpt"`
	AudioB  string        `json:"audio_b,omitempty"`
	Design  trials.Design `json:"design"`
}

// MarshalJSON writes what UnmarshalJSON needs to restore the family.
func (f Family) MarshalJSON() ([]byte, error) {
	t := familyText{f.Alpha, f.Listeners, f.Groups, f.Comparisons, nil}
	for q := range f.planned {
		t.Planned = append(t.Planned, questionText{q.a, q.b, q.excerpt, q.audioB, q.design})
	}
	slices.SortFunc(t.Planned, func(a, b questionText) int { return cmp.Compare(fmt.Sprint(a), fmt.Sprint(b)) })
	return json.Marshal(t)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (f *Family) UnmarshalJSON(data []byte) error {
	var t familyText
	if err := json.Unmarshal(data, &t); err != nil {
		return err
	}
	*f = Family{t.Alpha, t.Listeners, t.Groups, t.Comparisons, map[question]bool{}}
	for _, q := range t.Planned {
		f.planned[question{q.A, q.B, q.Excerpt, q.AudioB, q.Design}] = true
	}
	return nil
}

// Foresees reports whether all questions of a plan were planned before the first session, and so share the risk equally.
func (f Family) Foresees(p trials.Plan) bool {
	for _, a := range questionsOf(p) {
		if !f.planned[a.question] {
			return false
		}
	}
	return true
}

// unplannedShare is the part of the risk that is kept for unplanned comparisons, and within each comparison for unplanned
// listeners and groups. It is small, so that the critical counts of a single planned test stay as printed in tables; the i-th
// to come gets 1/(i·(i+1)) of it (judgement, no source; TestComparisonsShareAlpha holds it).
const unplannedShare = 0.005

func nth(i int) float64 { return 1 / float64(i*(i+1)) }

// questionShare is the share of the risk of the n-th comparison, among the planned or among the unplanned ones.
func (f Family) questionShare(foreseen bool, n int) float64 {
	if foreseen {
		return (1 - unplannedShare) / float64(f.Comparisons)
	}
	return unplannedShare * nth(n)
}

// shares divides the risk of a comparison. With one planned listener all of it is theirs. With several, half goes to the
// average of all and half is divided among the listeners; with planned groups, a third each goes to all, groups and listeners.
type shares struct {
	all, listener, group     float64
	listenersPlanned, groups int
}

func (f Family) shares() shares {
	s := shares{all: unplannedShare / 4, listener: 1 - unplannedShare, listenersPlanned: f.Listeners}
	if f.Listeners == 1 {
		return s
	}
	parts := 2.0
	if len(f.Groups) > 1 {
		parts, s.groups = 3, len(f.Groups)
		s.group = (1 - unplannedShare) / parts / float64(s.groups)
	}
	s.all = (1 - unplannedShare) / parts
	s.listener = s.all / float64(f.Listeners)
	return s
}

// ofListener is the share of the i-th listener of a comparison, from 0.
func (s shares) ofListener(i int) (share float64, planned bool) {
	if i < s.listenersPlanned {
		return s.listener, true
	}
	return unplannedShare / 2 * nth(i-s.listenersPlanned+1), false
}

// ofGroup is the share of a group; i numbers the unplanned ones, from 0.
func (s shares) ofGroup(planned bool, i int) float64 {
	if planned {
		return s.group
	}
	return unplannedShare / 4 * nth(i+1)
}

// ListenerAlpha returns the level at which one listener's first test of one comparison is judged before anything else is
// found, and the level for all listeners together.
func (f Family) ListenerAlpha() (one, all float64) {
	s, q := f.shares(), f.questionShare(true, 0)
	return f.Alpha * q * s.listener, f.Alpha * q * s.all
}

// LevelOf returns the level at which one listener's first test of a plan is judged before anything else is found. A plan made
// after the first session began has the small part that is kept for unplanned ones, assuming that no other comes first.
func (f Family) LevelOf(p trials.Plan) float64 {
	for _, a := range questionsOf(p) {
		if !f.planned[a.question] && f.Comparisons == len(f.planned) {
			return f.Alpha * f.questionShare(false, 1) * f.shares().listener
		}
	}
	one, _ := f.ListenerAlpha()
	return one
}

// TestLevel is the part of LevelOf that the planned test may use up; the rest is kept for further sessions.
func (f Family) TestLevel(p trials.Plan) float64 {
	if p.Conditional() && !p.Sequential() {
		return f.LevelOf(p) * (1 - keptBesideFisher)
	}
	return stats.Usable(f.LevelOf(p))
}

// question identifies what a comparison asks.
type question struct {
	a, b, excerpt string
	audioB        string // where a chain is compared with a dose of itself, which only the audio identifies
	design        trials.Design
}

// asking is one question of a plan: its name, its number of trials and its comparisons.
type asking struct {
	question
	name    string
	planned int
	parts   []string // the names of its comparisons
}

// questionsOf returns the questions of a plan. Each scored comparison is one, except in a sequential plan, whose looks count
// over all of them: it asks one question over all its excerpts.
func questionsOf(p trials.Plan) []asking {
	var all []asking
	for _, c := range p.Comparisons {
		if c.Kind != trials.Scored {
			continue
		}
		q := question{a: c.A, b: c.B, excerpt: c.Excerpt, design: p.Design}
		if c.A == c.B {
			q.audioB = c.AudioB
		}
		all = join(all, asking{q, c.Name, c.Trials, []string{c.Name}}, p.Sequential())
	}
	return all
}

// NameSeparator joins the names of several excerpts of one question.
const NameSeparator = " + "

// join merges an asking into the one of the same question, or into the only one of a sequential plan.
func join(all []asking, a asking, together bool) []asking {
	for i := range all {
		one := &all[i]
		if one.question != a.question && !together {
			continue
		}
		if one.excerpt != a.excerpt {
			one.excerpt, one.name = one.excerpt+NameSeparator+a.excerpt, one.name+NameSeparator+a.name
		}
		one.planned += a.planned
		one.parts = append(one.parts, a.parts...)
		return all
	}
	return append(all, a)
}

// sitting is the outcome of one question in one session.
type sitting struct {
	asking
	stats.Sitting
	heard   Heard
	pairs   stats.Pairs // answers to duplicate pairs
	answers stats.Pairs // for designs of two answers: counts by what was right
	// inattentive marks a session whose positive control was missed: it supports no null result.
	inattentive bool
	// counted says that it is included in the sums.
	counted bool
}

// FamilySummary is a family as shown to the user.
type FamilySummary struct {
	Alpha       float64 `json:"alpha"`
	Listeners   int     `json:"listeners"`
	Groups      int     `json:"groups"`
	Comparisons int     `json:"comparisons"`
	// ListenerAlpha is the level at which one listener's first test of one comparison is judged before anything else is
	// found, TogetherAlpha the level for all together.
	ListenerAlpha float64 `json:"listener_alpha"`
	TogetherAlpha float64 `json:"together_alpha"`
}

// Summary returns the family as shown to the user.
func (f Family) Summary() FamilySummary {
	one, all := f.ListenerAlpha()
	return FamilySummary{f.Alpha, f.Listeners, len(f.Groups), f.Comparisons, one, all}
}

// Words says in a sentence how the risk is shared.
func (s FamilySummary) Words() string {
	return fmt.Sprintf("All 'heard' of this study share alpha %g: planned for %s and %s, so that one listener's first test of one comparison is judged at %.2g",
		s.Alpha, trials.Counted(s.Comparisons, "comparison"), trials.Counted(s.Listeners, "listener"), s.ListenerAlpha) + s.together() + " " + s.RuledOutWords()
}

// rows is how many rows may say 'ruled out', as planned: for each comparison one of each listener, of each group and of all.
func (s FamilySummary) rows() int {
	of := s.Listeners + s.Groups
	if s.Listeners > 1 {
		of++
	}
	return s.Comparisons * of
}

// AnyRuledOutWrong bounds the probability that at least one of the planned rows is 'ruled out' wrongly, if each is with probability at most
// alpha: 1 − (1 − α)^rows. Answers are independent, and fewer right ones rule out more in every row, so that the rows that are not wrong
// are associated.
//
// ref: Esary, Proschan & Walkup (1967), Association of random variables, with applications, theorem 5.1.
func (s FamilySummary) AnyRuledOutWrong() float64 { return 1 - math.Pow(1-s.Alpha, float64(s.rows())) }

// RuledOutWords says in a sentence what the level of 'ruled out' holds for, and how likely it is that at least one of the planned rows is
// wrong. Everything that shows the verdict prints it.
func (s FamilySummary) RuledOutWords() string {
	if s.rows() < 2 {
		return fmt.Sprintf("'Ruled out' is wrong with probability at most %g.", s.Alpha)
	}
	return fmt.Sprintf("Each 'ruled out' is wrong with probability at most %g by itself, and so is 'ruled out' of every row; that at least one of several rows is wrong is likelier, "+
		"of the %d rows planned up to %.2g.", s.Alpha, s.rows(), s.AnyRuledOutWrong())
}

func (s FamilySummary) together() string {
	if s.Listeners < 2 {
		return "."
	}
	return fmt.Sprintf(" and all together at %.2g.", s.TogetherAlpha)
}
