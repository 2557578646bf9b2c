package link

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"

	"heardiff/stats"
	"heardiff/trials"
)

// Family is what a study asks, fixed before its first session begins, and the risk that all its answers share.
type Family struct {
	// Alpha is the chance accepted that the study says 'heard' anywhere where nothing is heard: of its first plan.
	Alpha float64
	// Listeners is how many are to be tested, Groups how many of them are in each group.
	Listeners int
	Groups    map[string]int
	// Comparisons is how many are to be tested; planned holds those of the plans made before, in any number up to it.
	Comparisons int
	planned     map[question]bool
}

// NewFamily returns the family of a study: plans are this study's own, in the order in which they were made before the
// first session began (or the first of all, where it came later), and groups those of the listeners who had been added by
// then, one entry a listener, "" for none. A plan that asks for more listeners or comparisons than there were gets them.
func NewFamily(plans []trials.Plan, groups []string) Family {
	f := Family{Listeners: max(1, len(groups)), Groups: map[string]int{}, planned: map[question]bool{}}
	for _, g := range groups {
		f.Groups[g]++
	}
	delete(f.Groups, "")
	if len(f.Groups) < 2 {
		f.Groups = nil // of one group there is no row: it is all
	}
	for i, p := range plans {
		if i == 0 {
			f.Alpha = p.Alpha
		}
		for _, a := range asked(p) {
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

// MarshalJSON writes all that UnmarshalJSON needs to judge by the same family.
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

// Foresees reports whether all that a plan asks shares the risk in equal parts, for it was made before the first session.
func (f Family) Foresees(p trials.Plan) bool {
	for _, a := range asked(p) {
		if !f.planned[a.question] {
			return false
		}
	}
	return true
}

// unplanned is the part of the risk that is kept for what nobody planned: further comparisons, and of each comparison
// further listeners and groups. It is small, so that the critical counts of a single planned test, as printed in tables,
// stay what they are; the i-th to come gets 1/(i·(i+1)) of it.
const unplanned = 0.005

func nth(i int) float64 { return 1 / float64(i*(i+1)) }

// questionShare is the share of the risk of the n-th comparison to be asked of those foreseen, or of those not.
func (f Family) questionShare(foreseen bool, n int) float64 {
	if foreseen {
		return (1 - unplanned) / float64(f.Comparisons)
	}
	return unplanned * nth(n)
}

// shares divides the risk of a comparison: with one listener planned all of it is theirs. With several one half asks
// whether the average of all hears it and one half is divided among the listeners; with planned groups each takes a third.
type shares struct {
	all, listener, group     float64
	listenersPlanned, groups int
}

func (f Family) shares() shares {
	s := shares{all: unplanned / 4, listener: 1 - unplanned, listenersPlanned: f.Listeners}
	if f.Listeners == 1 {
		return s
	}
	parts := 2.0
	if len(f.Groups) > 1 {
		parts, s.groups = 3, len(f.Groups)
		s.group = (1 - unplanned) / parts / float64(s.groups)
	}
	s.all = (1 - unplanned) / parts
	s.listener = s.all / float64(f.Listeners)
	return s
}

// ofListener is the share of the i-th listener of a comparison, from 0.
func (s shares) ofListener(i int) (share float64, planned bool) {
	if i < s.listenersPlanned {
		return s.listener, true
	}
	return unplanned / 2 * nth(i-s.listenersPlanned+1), false
}

// ofGroup is the share of a group; i counts those that were not planned, from 0.
func (s shares) ofGroup(planned bool, i int) float64 {
	if planned {
		return s.group
	}
	return unplanned / 4 * nth(i+1)
}

// ListenerAlpha returns the level at which one listener's first test of one comparison is judged, before anything else was
// found; and for all of them together.
func (f Family) ListenerAlpha() (one, all float64) {
	s, q := f.shares(), f.questionShare(true, 0)
	return f.Alpha * q * s.listener, f.Alpha * q * s.all
}

// LevelOf returns the level at which one listener's first test of a plan is judged, before anything else was found. What
// was planned after the first session began has the small part that is kept for it, if nothing else unplanned comes first.
func (f Family) LevelOf(p trials.Plan) float64 {
	for _, a := range asked(p) {
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

// question tells comparisons apart.
type question struct {
	a, b, excerpt string
	audioB        string // of a chain compared with a dose of itself, which only the audio tells apart
	design        trials.Design
}

// asking is one question of a plan.
type asking struct {
	question
	name    string
	planned int
	parts   []string // the names of its comparisons
}

// asked returns the questions of a plan. Each scored comparison is one, but for a sequential plan, whose looks count over
// all of them: it asks one question over all its excerpts.
func asked(p trials.Plan) []asking {
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

// between stands between the names of several excerpts of one question.
const between = " + "

// join adds an asking to the one of the same question, or to the only one of a sequential plan.
func join(all []asking, a asking, together bool) []asking {
	for i := range all {
		one := &all[i]
		if one.question != a.question && !together {
			continue
		}
		if one.excerpt != a.excerpt {
			one.excerpt, one.name = one.excerpt+between+a.excerpt, one.name+between+a.name
		}
		one.planned += a.planned
		one.parts = append(one.parts, a.parts...)
		return all
	}
	return append(all, a)
}

// sitting is what one listener did about one question in one session.
type sitting struct {
	asking
	stats.Sitting
	heard   Heard
	pairs   stats.Pairs // answers to duplicate pairs
	answers stats.Pairs // of designs of two answers: by what was right
	// inattentive marks a session whose positive control was missed: it shows no null.
	inattentive bool
	// counted says that it is added up with others.
	counted bool
}

// Said is a family as it is shown.
type Said struct {
	Alpha       float64 `json:"alpha"`
	Listeners   int     `json:"listeners"`
	Groups      int     `json:"groups"`
	Comparisons int     `json:"comparisons"`
	// ListenerAlpha is the level at which one listener's first test of one comparison is judged before anything else was
	// found, TogetherAlpha that of all together.
	ListenerAlpha float64 `json:"listener_alpha"`
	TogetherAlpha float64 `json:"together_alpha"`
}

// Said returns what the family is, as it is shown.
func (f Family) Said() Said {
	one, all := f.ListenerAlpha()
	return Said{f.Alpha, f.Listeners, len(f.Groups), f.Comparisons, one, all}
}

// Words says in a sentence how the risk is shared.
func (s Said) Words() string {
	return fmt.Sprintf("All 'heard' of this study share alpha %g: planned for %d comparisons and %d listeners, so that one listener's first test of one comparison is judged at %.2g",
		s.Alpha, s.Comparisons, s.Listeners, s.ListenerAlpha) + s.together() + s.ruledOut()
}

// ruledOut says what the level of 'ruled out' holds for.
func (s Said) ruledOut() string {
	return fmt.Sprintf(" Each 'ruled out' is wrong with probability at most %g by itself, and so is 'ruled out' of every row; that some one of several rows is wrong is likelier.", s.Alpha)
}

func (s Said) together() string {
	if s.Listeners < 2 {
		return "."
	}
	return fmt.Sprintf(" and all together at %.2g.", s.TogetherAlpha)
}
