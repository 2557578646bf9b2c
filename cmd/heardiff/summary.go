package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// summarize tells a listener how the session went: the counts, and what the whole study, this session included, says of the
// listener, as "link" does. rows are the listener's; there are none where the study's verdict could not be had.
func summarize(r trials.Result, rows []link.Row, family link.FamilySummary) []string {
	lines := []string{"The session is over. Thank you."}
	if r.GivenUp {
		lines = append(lines, "It was given up early: it stays in the study and counts as given up.")
	}
	lines = append(lines, thresholdLines(r)...)
	for _, t := range r.Tallies {
		if t.Comparison.Kind == trials.Graded {
			continue
		}
		lines = append(lines, "", fmt.Sprintf("%s: %d of %d right", t.Comparison.Name, t.Correct, t.Trials)+kindNote(t.Comparison.Kind))
		if t.Comparison.Kind == trials.Scored && t.Trials > 0 {
			lines = append(lines, alone(r, t))
		}
	}
	for _, row := range rows {
		lines = append(lines, "", "The study says now:", "  "+row.Says())
	}
	if slices.ContainsFunc(rows, func(r link.Row) bool { return r.Verdict == link.RuledOut }) {
		lines = append(lines, "  "+family.RuledOutWords())
	}
	if len(rows) == 0 && r.Plan.Threshold == nil {
		lines = append(lines, "", `What the study says of it: "heardiff link".`)
	}
	if r.Silent {
		lines = append(lines, "", "No device sounded, in a part of it or in all: the session says nothing of people.")
	}
	if r.Hurried > 0 {
		lines = append(lines, "", fmt.Sprintf("Hurried: %s, given before everything required had sounded for %g s.", trials.Counted(r.Hurried, "scored answer"), r.Plan.LeastSeconds))
	}
	if r.Voids > 0 || r.Flags > 0 {
		lines = append(lines, "", fmt.Sprintf("%d trials were void, %d disturbances were noted.", r.Voids, r.Flags))
	}
	return lines
}

// alone says what a guesser would do in this session alone.
func alone(r trials.Result, t trials.Tally) string {
	if r.Plan.Sequential() {
		return fmt.Sprintf("  The plan was to stop when the evidence sufficed; stopped at: %s.", cmp.Or(string(r.Stopped), "neither boundary"))
	}
	s, err := study.ScoreRow(r, t)
	if err != nil || math.IsNaN(s.PValue()) {
		return "  Too little to say anything."
	}
	return fmt.Sprintf("  A guesser does as well, or better, with probability %s in this session alone (uncorrected: it decides nothing).", link.Probability(s.PValue()))
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
