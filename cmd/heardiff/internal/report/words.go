package report

import (
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"

	"heardiff/trials"
)

// quotes finds what stands between straight quotation marks.
var quotes = regexp.MustCompile(`'([^']*)'`)

// method tells, from the data, what it takes to repeat the test.
func method(in Input) []string {
	var out []string
	for _, p := range in.Plans {
		out = append(out, planWords(p))
	}
	for _, e := range in.Excerpts {
		s := fmt.Sprintf("Excerpt “%s”: %s s of “%s” from %s s, at %s Hz", e.Name, number(e.Seconds), e.Music, number(e.StartS), exact(e.RateHz))
		if !math.IsNaN(e.NullDB) {
			s += fmt.Sprintf("; after alignment and level matching its presentations null to %s dB", number(e.NullDB))
		}
		if len(e.Changes) > 0 {
			s += "; all were " + strings.Join(e.Changes, "; ")
		}
		if len(e.Identical) > 0 {
			s += fmt.Sprintf("; what %s delivered is identical to the first chain’s, sample by sample", strings.Join(e.Identical, ", "))
		}
		out = append(out, proper(s+"."))
	}
	out = append(out, sessionWords(in.Sessions)...)
	out = append(out,
		"Chains were aligned to a fraction of a sample with drift, polarity and level corrected; the presentations run in step on one sample clock, and every switch uses the same cross-fade.",
		"The order of every session was drawn from the system’s cryptographic random source and sealed before the first trial: its hash was stored first, the seed revealed only at the end. Each answer was on disk before the next trial; results were withheld until the session ended.",
		"Scores are exact. p is one-sided, against the chance of a guesser: one in two of ABX and of two intervals, one in three of a triangle. For duplicate pairs it is Fisher’s exact test, which no habit of answering deceives. Intervals are two-sided, at 95\u00a0%, after Clopper and Pearson.",
		"‘Heard’ rests on p over the whole study. If nobody hears anything, the chance that the study says ‘heard’ anywhere, ever, is at most its level α: over all comparisons, listeners, groups, repeats, sessions given up and looks. ‘p uncorrected’ decides nothing.",
		"‘Ruled out’ rests on an upper bound of the share of trials on which the difference was heard (the proportion of discriminators, p_d). The bound is one-sided, at the level α for each row, and holds over repeats and looks. "+
			quotes.ReplaceAllString(in.Link.Family.RuledOutWords(), "‘$1’")+" For several listeners it speaks of their average.")
	return out
}

func planWords(p trials.Plan) string {
	kinds := map[trials.Kind]int{}
	var scored []string
	for _, c := range p.Comparisons {
		kinds[c.Kind] += c.Trials
		if c.Kind == trials.Scored {
			scored = append(scored, fmt.Sprintf("%s against %s on “%s”, %d trials", c.A, c.B, c.Excerpt, c.Trials))
		}
	}
	s := fmt.Sprintf("Plan “%s”, fixed before its first trial. %s: %s.", p.ID, capitalisedWord(p.Design.Words()), strings.Join(scored, "; "))
	var mixed []string
	for _, k := range []trials.Kind{trials.PositiveControl, trials.NegativeControl, trials.Practice} {
		if kinds[k] > 0 {
			mixed = append(mixed, fmt.Sprintf("%d trials of %s", kinds[k], k))
		}
	}
	if len(mixed) > 0 {
		s += " Also " + inWords(mixed) + "."
	}
	s += fmt.Sprintf(" Level α %g; the smallest effect worth finding is a difference that is heard on %.3g\u00a0%% of trials. Order %s, comparisons %s.", p.Alpha, 100*p.SmallestEffect, p.Order, p.Layout)
	if p.LeastSeconds > 0 {
		s += fmt.Sprintf(" An answer counts as hurried if what must be heard sounded for less than %g s.", p.LeastSeconds)
	}
	if p.SingleBlind {
		s += " Single blind: a helper knew what was connected."
	}
	return s
}

func capitalisedWord(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// computedDevice stands for a device where a computation answered.
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
		out = append(out, fmt.Sprintf("%d answers were hurried: given before everything required had sounded for as long as the plan demands.", hurried))
	}
	return out
}

// caveats says what the study cannot tell.
func caveats(in Input) []string {
	out := append([]string(nil), capitalised(in.Link.Warnings)...)
	return append(out,
		"A result holds for these listeners, excerpts and this replay chain. ‘Ruled out’ is a bound on how often a difference could be told, never a proof that there is none.",
		"For several listeners together, p tests whether anybody hears it; the bound is about their average, and one who hears it can hide among many who guess: look at each row.",
		"Chains differ in more than jitter. A correlation between a measured figure and detection names no cause.",
		"Jitter of the recorder’s own clock adds to what is measured; where a figure stands at the floor only an upper bound is known.")
}

func capitalised(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = proper(strings.ToUpper(s[:1]) + s[1:] + ".")
	}
	return out
}
