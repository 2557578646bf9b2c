package main

import (
	"fmt"
	"io"
	"slices"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/study"
)

// powerSequential prints what a plan with looks does, exactly: of so many trials, or of the fewest that reach a power.
func (a *app) powerSequential(f powerFlags) error {
	p, err := f.sequentialPlan()
	if err != nil {
		return rejected(err, reachHint(err))
	}
	n := p.Looks.MaxTrials()
	chance := f.of.Chance()
	truths := []float64{chance}
	for _, v := range []float64{f.pTrue, stats.FromDiscriminators(f.ruleOut, chance)} {
		if v > chance && !slices.Contains(truths, v) {
			truths = append(truths, v)
		}
	}
	var courses []stats.Course
	for _, v := range truths {
		courses = append(courses, p.Looks.Course(v))
	}
	effect := courses[len(courses)-1]
	if f.pTrue > 0 {
		effect = p.Looks.Course(f.pTrue)
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
		p.Looks.Distribution(chance), p.Looks, p.Group}
	return a.print(result, func(w io.Writer) { sequentialText(w, p, n, chance, courses) })
}

// sequentialPlan makes the plan of --trials, or the smallest that says 'heard' of the effect with the power asked for;
// where no effect is named, the smallest that rules out --rule-out with that power if nothing is heard.
func (f powerFlags) sequentialPlan() (study.SequentialPlan, error) {
	if f.trials > 0 {
		return study.MakeLooks(f.of, f.boundary, f.trials, f.looks, f.ruleOut, f.alpha, f.alpha)
	}
	chance := f.of.Chance()
	if f.pTrue <= chance && (f.pTrue > 0 || f.ruleOut == 0) {
		return study.SequentialPlan{}, fmt.Errorf("%w: at p = %v, no better than chance, no number of trials gives power %v", stats.ErrOutOfReach, f.pTrue, f.power)
	}
	reaches := func(l stats.Looks) bool { return l.Course(f.pTrue).Heard >= f.power }
	if f.pTrue == 0 {
		reaches = func(l stats.Looks) bool { return l.Course(chance).RuledOut >= f.power }
	}
	found, err := stats.SmallestLooks(func(n int) (stats.Looks, error) {
		p, err := study.MakeLooks(f.of, f.boundary, n, f.looks, f.ruleOut, f.alpha, f.alpha)
		return p.Looks, err
	}, reaches)
	if err != nil {
		return study.SequentialPlan{}, err
	}
	return study.MakeLooks(f.of, f.boundary, found.MaxTrials(), f.looks, f.ruleOut, f.alpha, f.alpha)
}

// mostLooksShown is the largest number of looks of which each has a row of a table. A judgement, no source; no figure depends on it.
const mostLooksShown = 20

func sequentialText(w io.Writer, p study.SequentialPlan, n int, chance float64, courses []stats.Course) {
	t := newTable("true p", "heard", "ruled out", "undecided", "expected trials")
	t.right(0, 1, 2, 3, 4)
	for _, c := range courses {
		t.row(number(c.P), number(c.Heard), number(c.RuledOut), number(c.Open), fmt.Sprintf("%.1f", c.Expected))
	}
	looks := fmt.Sprintf("a look after each of up to %s", trials.Counted(n, "trial"))
	if len(p.Looks.Trials) < n {
		looks = fmt.Sprintf("%s at up to %s", trials.Counted(len(p.Looks.Trials), "look"), trials.Counted(n, "trial"))
	}
	by := fmt.Sprintf("by e-value, the Bayes factor of p uniform between %[1]s and 1 against %[1]s", fmt.Sprintf("%.3g", chance))
	if p.Group != nil {
		by = fmt.Sprintf("by the %s boundary, on exact counts", p.Boundary)
	}
	t.print(w, looks+", "+by+"\n\n")
	if len(p.Looks.Trials) > mostLooksShown {
		return
	}
	fmt.Fprintln(w)
	s := newTable("look after", "heard at", "ruled out at", "a guesser stops here")
	s.right(0, 1, 2, 3)
	for i, c := range p.Looks.Distribution(chance) {
		heard, out := "never", "never"
		if p.Looks.Heard[i] <= c.Trials {
			heard = fmt.Sprint(p.Looks.Heard[i])
		}
		if p.Looks.RuledOut[i] >= 0 {
			out = fmt.Sprint(p.Looks.RuledOut[i])
		}
		s.row(fmt.Sprint(c.Trials), heard, out, number(c.Heard+c.RuledOut))
	}
	s.print(w, "")
}
