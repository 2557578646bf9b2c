package main

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// planReport is a plan with its hash and what it can find: Power for a fixed plan, Course for a sequential one.
type planReport struct {
	Schema string `json:"schema"`
	trials.Plan
	Hash string `json:"hash"`
	// Family is what the whole study asks; Level that at which one listener's first test of this plan is judged.
	Family link.FamilySummary `json:"family"`
	Level  float64            `json:"listener_alpha"`
	Power  []planPower        `json:"power"`
	Course []stats.Course     `json:"course"`
}

// planPower is what n trials of a comparison find if the listener is right with probability PTrue.
type planPower struct {
	Trials int     `json:"trials"`
	PTrue  float64 `json:"p_true"`
	Power  float64 `json:"power"`
	// Critical decides; under Fisher's test it is that of both kinds of trial and both answers equally often.
	Critical *int `json:"critical_correct"`
	// Needed is the number of trials for a power of 0.8, nil where no number reaches it.
	Needed *int `json:"trials_for_power_0_8"`
}

func (a *app) printPlan(p trials.Plan, f link.Family) error {
	r, err := reportPlan(p, f)
	if err != nil {
		return err
	}
	return a.print(r, func(w io.Writer) { r.text(w) })
}

func reportPlan(p trials.Plan, f link.Family) (planReport, error) {
	r := planReport{Schema: "heardiff.plan/1", Plan: p, Hash: p.HashText(), Family: f.Summary(), Level: f.LevelOf(p)}
	if p.Threshold != nil {
		return r, nil // it asks for a threshold: no count decides
	}
	judged := p
	judged.Alpha = f.TestLevel(p)
	truths := []float64{0.6, 0.7, 0.8}
	if smallest := stats.FromDiscriminators(p.SmallestEffect, p.Design.Chance()); !slices.Contains(truths, smallest) {
		truths = append(truths, smallest)
	}
	if p.Sequential() {
		for _, pTrue := range append([]float64{p.Design.Chance()}, truths...) {
			r.Course = append(r.Course, p.Looks.Course(pTrue))
		}
		return r, nil
	}
	for _, pTrue := range truths {
		at, err := judged.PowerAt(scoredTrials(p), pTrue)
		if err != nil {
			return r, err
		}
		row := planPower{Trials: at.Trials, PTrue: pTrue, Power: at.Power, Critical: at.Critical}
		switch need, err := judged.TrialsFor(pTrue, 0.8); {
		case err == nil:
			row.Needed = &need.Trials
		case !errors.Is(err, stats.ErrOutOfReach):
			return r, err
		}
		r.Power = append(r.Power, row)
	}
	return r, nil
}

// scoredTrials returns the trials of one scored comparison.
func scoredTrials(p trials.Plan) int {
	for _, c := range p.Comparisons {
		if c.Kind == trials.Scored {
			return c.Trials
		}
	}
	return 1
}

func (r planReport) text(w io.Writer) {
	if r.Threshold != nil {
		r.thresholdText(w)
		return
	}
	fmt.Fprintf(w, "plan %s: %s, alpha %g, smallest effect %g of trials truly known, %s, %s order\nhash %s\n",
		r.ID, r.Design, r.Alpha, r.SmallestEffect, r.Layout, r.Order, r.Hash)
	t := newTable("comparison", "trials", "kind", "excerpt")
	t.right(1)
	for _, c := range r.Comparisons {
		t.row(c.Name, fmt.Sprint(c.Trials), c.Kind.String(), c.Excerpt)
	}
	t.print(w, "\n")
	fmt.Fprintf(w, "\n%s\n\n", r.Family.Words())
	r.powerText(w)
	for _, c := range r.Course {
		fmt.Fprintf(w, "a listener who is right %.0f %% of the time: heard with probability %.3f, ruled out %.3f, undecided %.3f, after %.0f trials on average\n",
			100*c.P, c.Heard, c.RuledOut, c.Open, c.Expected)
	}
}

// powerText says what the trials of one comparison find.
func (r planReport) powerText(w io.Writer) {
	t := newTable("a listener who is right", "is heard from", "with a chance of", "trials for a chance of 0.8")
	t.right(0, 1, 2, 3)
	for _, p := range r.Power {
		from, need := "never", "more than anybody runs"
		if p.Critical != nil {
			from = fmt.Sprintf("%d of %d", *p.Critical, p.Trials)
		}
		if p.Needed != nil {
			need = fmt.Sprint(*p.Needed)
		}
		t.row(fmt.Sprintf("%.0f %% of the time", 100*p.PTrue), from, decimals(p.Power), need)
	}
	t.print(w, "")
	if len(r.Power) > 0 {
		fmt.Fprintf(w, "Judged at %.2g: the part of alpha %g that a listener's first test of this plan has of the whole study, as it is planned now.\n", r.Level, r.Family.Alpha)
	}
	if r.Conditional() && len(r.Power) > 0 {
		fmt.Fprintln(w, "Fisher's exact test decides: the count shown is for both kinds of trial and both answers equally often, as the chances are for a listener who leans towards neither answer; one who leans is found less often.")
	}
}
