package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"heardiff/measure/impair"
	"heardiff/trials"
	"heardiff/trials/study"
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
	var ladders []study.PreparedLadder
	for _, e := range l.Excerpts {
		made := study.PreparedLadders(e)
		for _, words := range prepareLines(e, made) {
			lines = append(lines, shellLine(words))
		}
		ladders = append(ladders, made...)
	}
	for _, p := range l.Plans {
		if words := planLine(p, ladders); words != nil {
			lines = append(lines, shellLine(words))
		}
	}
	return append(lines, "heardiff listener add LISTENER --group GROUP", "heardiff listen --plan PLAN --listener LISTENER", "heardiff report --out FILE.html")
}

func decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// milli writes seconds to a thousandth: an excerpt begins at the sample next to what was asked for.
func milli(seconds float64) string { return decimal(math.Round(1000*seconds) / 1000) }

// prepareLines are the commands that prepare an excerpt and its ladders. An excerpt of one chain alone is cut as its first ladder is made.
func prepareLines(e study.Excerpt, ladders []study.PreparedLadder) [][]string {
	cut := []string{"--music", e.Music, "--excerpt", milli(e.StartS) + ":" + milli(e.Seconds), "--name", e.Name}
	alone := len(ladders) > 0 && !slices.ContainsFunc(e.Presentations, func(p study.Presentation) bool { return p.Chain != e.Presentations[0].Chain })
	var lines [][]string
	if !alone {
		lines = append(lines, append([]string{"heardiff", "prepare"}, cut...))
	}
	for i, l := range ladders {
		of := []string{"--of", e.Name}
		if alone && i == 0 {
			of = cut
		}
		lines = append(lines, slices.Concat([]string{"heardiff", "prepare"}, ladderFlags(l), of))
	}
	return lines
}

// ladderFlags say which doses a ladder is of, and whose presentation gets them.
func ladderFlags(l study.PreparedLadder) []string {
	words := []string{"--ladder", l.Quantity.String(), "--from", decimal(l.From), "--to", decimal(l.To), "--steps", strconv.Itoa(l.Steps)}
	switch l.Quantity {
	case impair.RandomJitter:
		words = append(words, "--jitter-band", decimal(l.LowHz)+":"+decimal(l.HighHz))
	case impair.PeriodicJitter:
		words = append(words, "--jitter-hz", decimal(l.FreqHz))
	case impair.NoiseLevel:
		words = append(words, "--noise", l.Colour.String())
	}
	return append(words, "--seed", strconv.FormatUint(l.Seed, 10), "--chain", l.Chain)
}

// planLine is the command that makes a plan again; nil where its ladder is gone.
func planLine(p trials.Plan, ladders []study.PreparedLadder) []string {
	words := []string{"heardiff", "plan", "new", "--id", p.ID, "--design", p.Design.String()}
	if p.Threshold != nil {
		words = append(words, thresholdFlags(p)...)
	} else if scored := scoredFlags(p, ladders); scored != nil {
		words = append(words, scored...)
	} else {
		return nil
	}
	words = append(words, "--alpha", decimal(p.Alpha), "--smallest-effect", decimal(p.SmallestEffect), "--rest", decimal(p.RestMinutes), "--least-seconds", decimal(p.LeastSeconds))
	for _, k := range []struct {
		kind trials.Kind
		flag string
	}{{trials.Practice, "--practice"}, {trials.PositiveControl, "--positive"}, {trials.NegativeControl, "--negative"}} {
		words = append(words, k.flag, strconv.Itoa(asked(p, k.kind)))
	}
	if s := p.Study; s != nil && s.Listeners > 0 {
		words = append(words, "--listeners", strconv.Itoa(s.Listeners))
	}
	if s := p.Study; s != nil && s.Comparisons > 0 {
		words = append(words, "--comparisons", strconv.Itoa(s.Comparisons))
	}
	return words
}

// asked is the number of trials of practice or of a control that a plan was made with: each track of a threshold run has as many.
func asked(p trials.Plan, kind trials.Kind) int {
	i := slices.IndexFunc(p.Comparisons, func(c trials.Comparison) bool { return c.Kind == kind })
	if i < 0 {
		return 0
	}
	return p.Comparisons[i].Trials
}

// scoredFlags say what a plan compares, in which order, and when it stops; nil where its ladder is gone.
func scoredFlags(p trials.Plan, ladders []study.PreparedLadder) []string {
	var words []string
	for _, c := range p.Comparisons {
		switch {
		case c.Kind != trials.Scored:
		case c.A == c.B && words != nil: // a further dose
		case c.A == c.B:
			i := slices.IndexFunc(ladders, func(l study.PreparedLadder) bool { return slices.Contains(l.Audio, c.AudioB) })
			if i < 0 {
				return nil
			}
			words = []string{"--ladder", ladders[i].Words, "--a", c.A, "--excerpt", c.Excerpt, "--trials", strconv.Itoa(c.Trials)}
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

func thresholdFlags(p trials.Plan) []string {
	run, first := p.Threshold, rungOf(p, p.Threshold.Tracks[0])
	words := []string{"--procedure", run.Procedure.String(), "--trials", strconv.Itoa(run.Tracks[0].Limit)}
	elsewhere := func(t trials.Track) bool { r := rungOf(p, t); return r.A != first.A || r.Excerpt != first.Excerpt }
	if !slices.ContainsFunc(run.Tracks, elsewhere) {
		words = append(words, "--a", first.A, "--excerpt", first.Excerpt)
	}
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

// rungOf returns the comparison of a track's lowest rung.
func rungOf(p trials.Plan, t trials.Track) trials.Comparison {
	i := slices.IndexFunc(p.Comparisons, func(c trials.Comparison) bool { return c.Name == t.Rungs[0].Comparison })
	return p.Comparisons[i]
}
