package main

import (
	"fmt"
	"math"
	"strconv"

	"heardiff/trials"
)

// repeatLines are the commands that make the study again from the captures, as a shell takes them.
func (l linked) repeatLines() []string {
	if len(l.Plans) == 0 {
		return nil
	}
	lines := []string{shellLine([]string{"heardiff", "study", "new", "again", "--title", l.Result.Title})}
	for _, c := range l.Input.Chains {
		words := []string{"heardiff", "chain", "add", c.Name}
		if c.Role != "" && c.Role != "source" {
			words = append(words, "--role", c.Role)
		}
		if c.After != "" {
			words = append(words, "--after", c.After)
		}
		lines = append(lines, shellLine(words))
	}
	lines = append(lines, "heardiff capture add CHAIN FILE --as KIND", "heardiff measure")
	for _, e := range l.Excerpts {
		lines = append(lines, shellLine([]string{"heardiff", "prepare", "--music", e.Music, "--excerpt", milli(e.StartS) + ":" + milli(e.Seconds), "--name", e.Name}))
	}
	var plans []string
	for _, p := range l.Plans {
		lines = append(lines, ladderLines(p)...)
		if words := planLine(p); words != nil {
			plans = append(plans, shellLine(words))
		}
	}
	lines = append(lines, plans...)
	return append(lines, "heardiff listener add LISTENER --group GROUP", "heardiff listen --plan PLAN --listener LISTENER", "heardiff report --out FILE.html")
}

func decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// milli writes seconds to a thousandth: an excerpt begins at the sample next to what was asked for.
func milli(seconds float64) string { return decimal(math.Round(1000*seconds) / 1000) }

// ladderLines are the commands that prepare the doses of a threshold run.
func ladderLines(p trials.Plan) []string {
	if p.Threshold == nil {
		return nil
	}
	var lines []string
	for _, t := range p.Threshold.Tracks {
		low, high := t.Rungs[0], t.Rungs[len(t.Rungs)-1]
		lines = append(lines, shellLine([]string{"heardiff", "prepare", "--ladder", t.Quantity, "--from", decimal(low.Dose), "--to", decimal(high.Dose),
			"--steps", strconv.Itoa(len(t.Rungs)), "--of", excerptOfRung(p, low)}))
	}
	return lines
}

func excerptOfRung(p trials.Plan, r trials.Rung) string {
	for _, c := range p.Comparisons {
		if c.Name == r.Comparison {
			return c.Excerpt
		}
	}
	return ""
}

// planLine is the command that makes a plan again; nil for one that no single command makes.
func planLine(p trials.Plan) []string {
	words := []string{"heardiff", "plan", "new", "--id", p.ID, "--design", p.Design.String()}
	if p.Threshold != nil {
		words = append(words, thresholdFlags(*p.Threshold)...)
	} else if scored := scoredFlags(p); scored != nil {
		words = append(words, scored...)
	} else {
		return nil
	}
	words = append(words, "--alpha", decimal(p.Alpha), "--smallest-effect", decimal(p.SmallestEffect), "--rest", decimal(p.RestMinutes), "--least-seconds", decimal(p.LeastSeconds))
	for _, k := range []struct {
		kind trials.Kind
		flag string
	}{{trials.Practice, "--practice"}, {trials.PositiveControl, "--positive"}, {trials.NegativeControl, "--negative"}} {
		n := 0
		for _, c := range p.Comparisons {
			if c.Kind == k.kind {
				n += c.Trials
			}
		}
		words = append(words, k.flag, strconv.Itoa(n))
	}
	if s := p.Study; s != nil && s.Listeners > 0 {
		words = append(words, "--listeners", strconv.Itoa(s.Listeners))
	}
	if s := p.Study; s != nil && s.Comparisons > 0 {
		words = append(words, "--comparisons", strconv.Itoa(s.Comparisons))
	}
	return words
}

// scoredFlags say what a plan compares, in which order, and when it stops; nil for a plan of ladders, whose doses have names of their own.
func scoredFlags(p trials.Plan) []string {
	var words []string
	for _, c := range p.Comparisons {
		switch {
		case c.Kind != trials.Scored:
		case c.A == c.B:
			return nil
		case words == nil:
			words = []string{"--a", c.A, "--b", c.B, "--excerpt", c.Excerpt, "--trials", strconv.Itoa(c.Trials)}
		default:
			words = append(words, "--also", fmt.Sprintf("%s:%s:%s", c.A, c.B, c.Excerpt))
		}
	}
	words = append(words, "--order", p.Order.String(), "--layout", p.Layout.String())
	if p.Looks != nil {
		words = append(words, "--stopping", "sequential")
		if n := len(p.Looks.Trials); n < p.Looks.Trials[n-1] {
			words = append(words, "--looks", strconv.Itoa(n))
		}
	}
	if p.SingleBlind {
		words = append(words, "--by-hand")
	}
	return words
}

func thresholdFlags(run trials.Threshold) []string {
	words := []string{"--procedure", run.Procedure.String(), "--trials", strconv.Itoa(run.Tracks[0].Limit)}
	for _, t := range run.Tracks {
		words = append(words, "--threshold", t.Name)
	}
	if run.WithinDB > 0 {
		words = append(words, "--within", decimal(run.WithinDB))
	}
	if run.Training {
		words = append(words, "--training")
	}
	return words
}
