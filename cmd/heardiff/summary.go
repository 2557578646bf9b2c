package main

import (
	"fmt"

	"heardiff/stats"
	"heardiff/trials"
)

// summarize tells a listener how the session went: the result, what it means, and what it does not mean.
func summarize(r trials.Result) []string {
	lines := []string{"The session is over. Thank you."}
	if r.GivenUp {
		lines = append(lines, "It was given up early: it stays in the study and counts as given up.")
	}
	for _, t := range r.Tallies {
		lines = append(lines, "", fmt.Sprintf("%s: %d of %d right", t.Comparison.Name, t.Correct, t.Trials)+kindNote(t.Comparison.Kind))
		if t.Comparison.Kind != trials.Scored || t.Trials == 0 {
			continue
		}
		lines = append(lines, meaning(r, t)...)
	}
	if r.Silent {
		lines = append(lines, "", "No device sounded, in a part of it or in all: the session says nothing of people.")
	}
	if r.Hurried > 0 {
		lines = append(lines, "", fmt.Sprintf("%d scored answers were hurried: given before what the plan wants heard had sounded for %g s.", r.Hurried, r.Plan.LeastSeconds))
	}
	if r.Voids > 0 || r.Flags > 0 {
		lines = append(lines, "", fmt.Sprintf("%d trials were void, %d disturbances were noted.", r.Voids, r.Flags))
	}
	return lines
}

func meaning(r trials.Result, t trials.Tally) []string {
	p := r.Plan
	s, err := scoreRow(r, t)
	if err != nil {
		return []string{"  too little to say anything: " + err.Error()}
	}
	lines := []string{fmt.Sprintf("  A guesser does as well, or better, with probability %s (risk accepted: %g).", probability(s.pValue()), p.Alpha)}
	if p.Sequential() {
		lines = []string{fmt.Sprintf("  The plan was to stop when the evidence sufficed (risk accepted: %g).", p.Alpha)}
	}
	if s.Reached {
		return append(lines, "  Heard: guessing does not explain this. It does not say what was heard, nor that it sounds better.")
	}
	if r.Stopped == trials.StopRuledOut {
		return append(uncontrolled(p, lines), fmt.Sprintf("  Ruled out: knowing the answer on %.0f %% of trials or more. A smaller effect stays possible.", 100*p.SmallestEffect))
	}
	if p.Sequential() {
		return append(lines, "  Undecided: the plan ran out of trials before the evidence sufficed either way.")
	}
	upper := stats.Discriminators(stats.UpperProportion(t.Correct, t.Trials, 1-p.Alpha))
	if p.Design == trials.ABX && upper < p.SmallestEffect {
		return append(uncontrolled(p, lines), fmt.Sprintf("  Ruled out: knowing the answer on more than %.0f %% of trials (the plan asked for %.0f %%). A smaller effect stays possible.",
			100*upper, 100*p.SmallestEffect))
	}
	return append(lines, fmt.Sprintf("  Undecided: this does not show that it was heard, nor that it cannot be; up to %.0f %% of trials truly known fit the answers.", 100*upper))
}

// uncontrolled adds the word that belongs before a null of a plan without a positive control.
func uncontrolled(p trials.Plan, lines []string) []string {
	if p.Count(trials.PositiveControl) > 0 {
		return lines
	}
	return append(lines, "  The plan had no positive control: nothing shows that a plain difference would have been heard here.")
}

// kindNote says what a comparison that is no part of the question was for.
func kindNote(k trials.Kind) string {
	switch k {
	case trials.Practice:
		return " (not counted)"
	case trials.PositiveControl:
		return " (a plain difference)"
	case trials.NegativeControl:
		return " (the same audio twice: nothing was there to be known)"
	}
	return ""
}
