package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
)

// sequentialPlan is a plan with looks, from whichever boundary was asked for.
type sequentialPlan struct {
	looks    stats.Looks
	boundary string
	group    *stats.GroupPlan // nil for evidence
}

// boundaries names what --boundary takes.
const boundaries = "evidence, obrien-fleming or pocock"

// makeLooks plans the looks of n trials of a design: after every trial by evidence, else after equal groups. ruleOut 0 never says
// 'ruled out'; alpha is the risk of 'heard', risk that of 'ruled out'.
func makeLooks(d trials.Design, boundary string, n, looks int, ruleOut, alpha, risk float64) (sequentialPlan, error) {
	if boundary == "evidence" && looks == 0 {
		looks = n
	}
	at, err := stats.EqualLooks(n, looks)
	if err != nil {
		return sequentialPlan{}, err
	}
	if boundary == "evidence" {
		l, err := stats.EvidenceLooks(at, d.Chance(), ruleOut, alpha, risk)
		return sequentialPlan{looks: l, boundary: boundary}, err
	}
	b, err := stats.ParseBoundary(boundary)
	if err != nil {
		return sequentialPlan{}, err
	}
	g, err := stats.Groups{Boundary: b, Trials: at, Chance: d.Chance(), Alpha: alpha, RuleOut: ruleOut, Risk: risk}.Plan()
	return sequentialPlan{looks: g.Looks, boundary: boundary, group: &g}, err
}

// checkBoundary refuses a boundary, or a number of looks, that cannot be.
func checkBoundary(boundary string, looks int, looksGiven bool) error {
	switch {
	case !strings.Contains(" evidence obrien-fleming pocock ", " "+boundary+" "):
		return misusedf("--boundary %q: %s is wanted", boundary, boundaries)
	case looksGiven && looks < 1:
		return misusedf("--looks %d: one or more", looks)
	}
	return nil
}

// powerSequential prints what a plan with looks does, exactly: of so many trials, or of the fewest that reach a power.
func (a *app) powerSequential(f powerFlags) error {
	p, err := f.sequentialPlan()
	if err != nil {
		return rejected(err, reachHint(err))
	}
	n := p.looks.MaxTrials()
	chance := f.of.Chance()
	truths := []float64{chance}
	for _, v := range []float64{f.pTrue, stats.FromDiscriminators(f.ruleOut, chance)} {
		if v > chance && !slices.Contains(truths, v) {
			truths = append(truths, v)
		}
	}
	var courses []stats.Course
	for _, v := range truths {
		courses = append(courses, p.looks.Course(v))
	}
	effect := courses[len(courses)-1]
	if f.pTrue > 0 {
		effect = p.looks.Course(f.pTrue)
	}
	result := struct {
		Schema   string             `json:"schema"`
		Design   string             `json:"design"`
		Plan     string             `json:"plan"`
		Boundary string             `json:"boundary"`
		Trials   int                `json:"trials"`
		Power    float64            `json:"achieved_power"`
		Size     float64            `json:"achieved_alpha"`
		RuledOut float64            `json:"achieved_power_to_rule_out"`
		Null     stats.Course       `json:"nothing_heard"`
		True     stats.Course       `json:"effect"`
		Courses  []stats.Course     `json:"courses"`
		Stops    []stats.LookChance `json:"stops_where_nothing_heard"`
		Looks    stats.Looks        `json:"looks"`
		Group    *stats.GroupPlan   `json:"group_sequential,omitempty"`
	}{"heardiff.power/1", f.design, "sequential", f.boundary, n, effect.Heard, courses[0].Heard, courses[0].RuledOut, courses[0], effect, courses,
		p.looks.Distribution(chance), p.looks, p.group}
	return a.print(result, func(w io.Writer) { p.text(w, n, chance, courses) })
}

// sequentialPlan makes the plan of --trials, or the smallest that says 'heard' of the effect with the power asked for;
// where none is named, that rules out --rule-out with that power where nothing is heard.
func (f powerFlags) sequentialPlan() (sequentialPlan, error) {
	if f.trials > 0 {
		return makeLooks(f.of, f.boundary, f.trials, f.looks, f.ruleOut, f.alpha, f.alpha)
	}
	chance := f.of.Chance()
	if f.pTrue <= chance && (f.pTrue > 0 || f.ruleOut == 0) {
		return sequentialPlan{}, fmt.Errorf("%w: at p = %v, no better than chance, no number of trials gives power %v", stats.ErrOutOfReach, f.pTrue, f.power)
	}
	reaches := func(l stats.Looks) bool { return l.Course(f.pTrue).Heard >= f.power }
	if f.pTrue == 0 {
		reaches = func(l stats.Looks) bool { return l.Course(chance).RuledOut >= f.power }
	}
	found, err := stats.SmallestLooks(func(n int) (stats.Looks, error) {
		p, err := makeLooks(f.of, f.boundary, n, f.looks, f.ruleOut, f.alpha, f.alpha)
		return p.looks, err
	}, reaches)
	if err != nil {
		return sequentialPlan{}, err
	}
	return makeLooks(f.of, f.boundary, found.MaxTrials(), f.looks, f.ruleOut, f.alpha, f.alpha)
}

func (p sequentialPlan) text(w io.Writer, n int, chance float64, courses []stats.Course) {
	t := newTable("true p", "heard", "ruled out", "undecided", "expected trials")
	t.right(0, 1, 2, 3, 4)
	for _, c := range courses {
		t.row(number(c.P), number(c.Heard), number(c.RuledOut), number(c.Open), fmt.Sprintf("%.1f", c.Expected))
	}
	looks := fmt.Sprintf("a look after each of up to %d trials", n)
	if len(p.looks.Trials) < n {
		looks = fmt.Sprintf("%d looks at up to %d trials", len(p.looks.Trials), n)
	}
	by := "by e-value"
	if p.group != nil {
		by = fmt.Sprintf("by the %s boundary, on exact counts", p.boundary)
	}
	t.print(w, looks+", "+by+"\n\n")
	if len(p.looks.Trials) > 20 {
		return
	}
	fmt.Fprintln(w)
	s := newTable("look after", "heard at", "ruled out at", "a guesser stops here")
	s.right(0, 1, 2, 3)
	for i, c := range p.looks.Distribution(chance) {
		heard, out := "never", "never"
		if p.looks.Heard[i] <= c.Trials {
			heard = fmt.Sprint(p.looks.Heard[i])
		}
		if p.looks.RuledOut[i] >= 0 {
			out = fmt.Sprint(p.looks.RuledOut[i])
		}
		s.row(fmt.Sprint(c.Trials), heard, out, number(c.Heard+c.RuledOut))
	}
	s.print(w, "")
}
