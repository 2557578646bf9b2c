package report

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"heardiff/trials"
)

// method tells, from the data, what it takes to repeat the test.
func method(in Input) []string {
	var out []string
	for _, p := range in.Plans {
		out = append(out, planWords(p))
	}
	for _, e := range in.Excerpts {
		s := fmt.Sprintf("Excerpt %q: %s s of %q from %s s, at %s Hz", e.Name, number(e.Seconds), e.Music, number(e.StartS), number(e.RateHz))
		if !math.IsNaN(e.NullDB) {
			s += fmt.Sprintf("; after alignment and level matching its presentations null to %s dB", number(e.NullDB))
		}
		if len(e.Changes) > 0 {
			s += "; all were " + strings.Join(e.Changes, "; ")
		}
		if len(e.Identical) > 0 {
			s += fmt.Sprintf("; what %s delivered is identical to the first chain’s, sample by sample", strings.Join(e.Identical, ", "))
		}
		out = append(out, s+".")
	}
	out = append(out, sessionWords(in.Sessions)...)
	out = append(out,
		"Chains were aligned to a fraction of a sample with drift, polarity and level corrected; the presentations run in step on one sample clock, and every switch uses the same cross-fade.",
		"The order of every session was drawn from the system’s cryptographic random source and sealed before the first trial: its hash was stored first, the seed revealed only at the end. Each answer was on disk before the next trial; results were withheld until the session ended.",
		"Scores are exact: one-sided binomial p against the chance of a guesser (one in two of ABX and of two intervals, one in three of a triangle), Fisher’s exact test for duplicate pairs, two-sided 95 % intervals of Clopper and Pearson; so is ‘p uncorrected’, which decides nothing. ‘Heard’ rests on p over the whole study: if nobody hears anything, a study says it anywhere, ever, with probability at most its level α, over all comparisons, listeners, groups, repeats, sessions given up and looks. ‘Ruled out’ uses the one-sided upper bound at the level α, valid over repeats and looks, of the proportion of trials on which the answer was known (the proportion of discriminators, p_d); each row’s is wrong with probability at most α by itself, as is ‘ruled out’ of every row, while that some one of several rows is wrong is likelier; and of several listeners it speaks of their average.")
	return out
}

func planWords(p trials.Plan) string {
	kinds := map[trials.Kind]int{}
	var scored []string
	for _, c := range p.Comparisons {
		kinds[c.Kind] += c.Trials
		if c.Kind == trials.Scored {
			scored = append(scored, fmt.Sprintf("%s against %s on %q, %d trials", c.A, c.B, c.Excerpt, c.Trials))
		}
	}
	s := fmt.Sprintf("Plan %q, fixed before its first trial: %s; %s; level α %g; smallest effect worth finding: the answer known on %.3g %% of trials", p.ID, p.Design.Words(), strings.Join(scored, "; "), p.Alpha, 100*p.SmallestEffect)
	for _, k := range []trials.Kind{trials.PositiveControl, trials.NegativeControl, trials.Practice} {
		if kinds[k] > 0 {
			s += fmt.Sprintf("; %d trials of %s", kinds[k], k)
		}
	}
	s += fmt.Sprintf("; order %s, comparisons %s", p.Order, p.Layout)
	if p.LeastSeconds > 0 {
		s += fmt.Sprintf("; an answer is marked as hurried where what the design wants heard sounded for less than %g s", p.LeastSeconds)
	}
	if p.SingleBlind {
		s += "; single blind"
	}
	return s + "."
}

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
	out := []string{fmt.Sprintf("%d sessions that ended, by %d people and %d simulated listeners.", len(sessions), len(people), len(computed))}
	for _, d := range slices.Sorted(maps.Keys(devices)) {
		if d != "" {
			out = append(out, fmt.Sprintf("%d of them were heard through: %s.", devices[d], d))
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
