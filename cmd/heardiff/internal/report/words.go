package report

import (
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
)

// method says, from the data, what it takes to repeat the test.
func method(in Input) []string {
	out := plansWords(in.Plans)
	for _, e := range in.Excerpts {
		out = append(out, excerptWords(e))
	}
	out = append(out, sessionWords(in.Sessions)...)
	out = append(out,
		"The captures of the chains were aligned to a fraction of a sample; clock drift, polarity and level were corrected. While somebody listens, all presentations run in step on one sample clock, and every switch uses the same cross-fade.",
		"The order of every session was drawn from the system’s cryptographic random source and sealed before the first trial: its hash was stored first, and the seed revealed only at the end. Each answer was on disk before the next trial. Results were withheld until the session ended.",
		"Scores are exact. p is one-sided, against the chance of a guesser: one in two of ABX and of two intervals, one in three of a triangle. For duplicate pairs it is Fisher’s exact test, which no habit of answering deceives. Intervals are two-sided, at 95\u00a0%, after Clopper and Pearson.",
		"‘Heard’ rests on p over the whole study. If nobody hears anything, the chance that the study says ‘heard’ anywhere, ever, is at most its level α: over all comparisons, listeners, groups, repeats, sessions given up and looks. ‘p uncorrected’ decides nothing.",
		"‘Ruled out’ rests on an upper bound of the share of trials on which the difference was heard (the proportion of discriminators). The bound is one-sided, at the level α, and holds over repeats and looks. For several listeners it speaks of their average.")
	if len(in.Link.Rows) > 0 {
		out = append(out, curly(in.Link.Family.Words()))
	}
	return out
}

// curly writes quotation marks and apostrophes as print does.
func curly(text string) string {
	return strings.ReplaceAll(straightQuotes.ReplaceAllString(text, "‘$1’"), "'", "’")
}

var straightQuotes = regexp.MustCompile(`'([Hh]eard|[Rr]uled out)'`)

// plansWords describes the plans; settings that several have in common are said once.
func plansWords(plans []trials.Plan) []string {
	var out, order []string
	with := map[string][]string{}
	for _, p := range plans {
		settings := settingsWords(p)
		if with[settings] == nil {
			order = append(order, settings)
		}
		with[settings] = append(with[settings], "“"+p.ID+"”")
		out = append(out, proper(fmt.Sprintf("Plan “%s”, fixed before its first trial. %s: %s.", p.ID, capitalisedWord(p.Design.Words()), askedWords(p))+mixedWords(p)))
	}
	for _, settings := range order {
		which := "Plan " + with[settings][0]
		switch n := len(with[settings]); {
		case n == len(plans) && n > 1:
			which = "All plans"
		case n > 1:
			which = "Plans " + inWords(with[settings])
		}
		out = append(out, proper(which+": "+settings))
	}
	return out
}

// askedWords says what a plan compares, and how often.
func askedWords(p trials.Plan) string {
	if p.Threshold != nil {
		return thresholdWords(*p.Threshold)
	}
	var scored []string
	for _, c := range p.Comparisons {
		if c.Kind == trials.Scored {
			scored = append(scored, fmt.Sprintf("%s against %s on “%s”, %d trials", c.A, c.B, c.Excerpt, c.Trials))
		}
	}
	if l := p.Looks; l != nil {
		return strings.Join(scored, "; ") + fmt.Sprintf(" at the most; a session ends at the first of %s at which the answers suffice", trials.Counted(len(l.Trials), "look"))
	}
	return strings.Join(scored, "; ")
}

// placedWords says how a threshold run chooses its doses.
var placedWords = map[stats.Placing]string{stats.PlacedBayes: "each next dose is the one from which most is learnt of the threshold", stats.PlacedStaircase: "after right answers the dose gets smaller, after a wrong one larger",
	stats.PlacedConstant: "each dose comes equally often, in random order"}

func thresholdWords(run trials.Threshold) string {
	var tracks []string
	for _, t := range run.Tracks {
		low, high := t.Rungs[0], t.Rungs[len(t.Rungs)-1]
		tracks = append(tracks, fmt.Sprintf("%s, %d doses from %s to %s %s, %d trials at the most", t.Name, len(t.Rungs), number(low.Dose), number(high.Dose), t.Unit, t.Limit))
	}
	s := "a threshold run"
	if run.Training {
		s = "a training, which no result counts"
	}
	s += " on " + strings.Join(tracks, "; ") + "; " + placedWords[run.Procedure]
	if run.PlainEvery > 0 {
		s += fmt.Sprintf("; one trial in %d, drawn by lot, is at the largest dose instead", run.PlainEvery)
	}
	if run.WithinDB > 0 {
		s += fmt.Sprintf("; it ends early once the threshold is known within ±%g dB (95\u00a0%%)", run.WithinDB)
	}
	return s
}

// mixedWords says how many trials of known answer a plan mixes in.
func mixedWords(p trials.Plan) string {
	kinds := map[trials.Kind]int{}
	for _, c := range p.Comparisons {
		kinds[c.Kind] += c.Trials
	}
	var mixed []string
	for _, k := range []trials.Kind{trials.PositiveControl, trials.NegativeControl, trials.Practice} {
		if kinds[k] > 0 {
			mixed = append(mixed, fmt.Sprintf("%d trials of %s", kinds[k], k))
		}
	}
	if len(mixed) == 0 {
		return ""
	}
	return " Also " + inWords(mixed) + "."
}

func settingsWords(p trials.Plan) string {
	s := fmt.Sprintf("the level α is %g", p.Alpha)
	if p.Threshold == nil {
		s += fmt.Sprintf(", and the smallest effect worth finding a difference that is heard on %.3g\u00a0%% of trials", 100*p.SmallestEffect)
	}
	s += fmt.Sprintf("; the order is %s, comparisons are %s.", p.Order, p.Layout)
	if p.LeastSeconds > 0 {
		s += fmt.Sprintf(" An answer counts as hurried if what must be heard sounded for less than %g s.", p.LeastSeconds)
	}
	if p.SingleBlind {
		s += " Single blind: a helper knew what was connected."
	}
	return s
}

func excerptWords(e Excerpt) string {
	s := fmt.Sprintf("Excerpt “%s”: %s s of “%s” from %s s, at %s Hz.", e.Name, number(e.Seconds), e.Music, number(e.StartS), exact(e.RateHz))
	if !math.IsNaN(e.NullDB) {
		s += fmt.Sprintf(" After alignment and level matching, what is left when one presentation is subtracted from another is at most %s dB relative to the music.", number(e.NullDB))
	}
	if len(e.Changes) > 0 {
		s += " Done to all of them alike: " + strings.Join(e.Changes, "; ") + "."
	}
	if len(e.Identical) > 0 {
		s += fmt.Sprintf(" What %s delivered is identical to the first chain’s, sample by sample.", inWords(e.Identical))
	}
	return proper(s)
}

func capitalisedWord(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// computedDevice is the device of sessions that a computation answered.
const computedDevice = "simulated"

func sessionWords(sessions []Session) []string {
	if len(sessions) == 0 {
		return nil
	}
	people, computed := map[string]bool{}, map[string]bool{}
	devices := map[string]int{}
	silent, hurried := 0, 0
	for _, s := range sessions {
		if s.Simulated {
			computed[s.Listener] = true
		} else {
			people[s.Listener] = true
		}
		devices[s.Device]++
		if hurried += s.Hurried; s.Silent {
			silent++
		}
	}
	who := plural(len(people), "person")
	if len(people) > 1 {
		who = fmt.Sprintf("%d people", len(people))
	}
	switch {
	case len(people) == 0:
		who = plural(len(computed), "simulated listener")
	case len(computed) > 0:
		who += " and " + strings.ToLower(plural(len(computed), "simulated listener"))
	}
	out := []string{fmt.Sprintf("%s ended, by %s.", plural(len(sessions), "session"), strings.Replace(who, "One", "one", 1))}
	for _, d := range slices.Sorted(maps.Keys(devices)) {
		if d != "" && d != computedDevice {
			out = append(out, fmt.Sprintf("Heard through “%s”: %s.", d, strings.ToLower(plural(devices[d], "session"))))
		}
	}
	if silent > 0 {
		out = append(out, fmt.Sprintf("%d of them were answered, wholly or in part, where no device sounded: they say nothing of people.", silent))
	}
	if hurried > 0 {
		were := "were"
		if hurried == 1 {
			were = "was"
		}
		out = append(out, fmt.Sprintf("%s %s hurried: given before everything required had sounded for as long as the plan demands.", trials.Counted(hurried, "answer"), were))
	}
	return out
}

// caveats says what the study cannot tell.
func caveats(in Input) []string {
	out := append([]string(nil), capitalised(in.Link.Texts)...)
	return append(out,
		"A result holds for these listeners, excerpts and this replay chain. ‘Ruled out’ is a bound on how often a difference could be told, never a proof that there is none.",
		"For several listeners together, p tests whether anybody hears it; the bound is about their average, and one who hears it can hide among many who guess: look at each row.",
		"Chains differ in more than jitter. A correlation between a measured figure and detection names no cause.",
		"Jitter of the recorder’s own clock adds to what is measured; where a figure is at the floor only an upper bound is known.")
}

func capitalised(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = proper(strings.ToUpper(s[:1]) + s[1:] + ".")
	}
	return out
}
