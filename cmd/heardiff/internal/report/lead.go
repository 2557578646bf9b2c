package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"heardiff/trials"
	"heardiff/trials/link"
)

// mostLead is how many comparisons the first lines of a page speak of one by one.
const mostLead = 5

// lead answers the question of the title for whoever reads no further: first of the chains that it names, then what was heard, what
// is excluded, what is open, and the thresholds; a sentence or two each. It never says more than the verdicts do, and never the sum
// alone where the listeners' own verdicts differ from it.
func lead(title string, cards []answer, thresholds []link.Threshold) []string {
	var named, out []string
	for _, class := range []string{"heard", "ruled-out", "undecided", "void"} {
		of := withClass(cards, class)
		if len(cards) > mostLead && len(of) > 1 {
			out = append(out, severalWords(class, len(cards), of))
			continue
		}
		for _, a := range of {
			s := sentence(a.lead(cards))
			if names(title, a.Row.A) || names(title, a.Row.B) {
				named = append(named, s)
			} else {
				out = append(out, s)
			}
		}
	}
	return slices.Concat(named, out, thresholdLead(thresholds))
}

// severalWords says of many comparisons of one class what holds of them, and names them where they are few.
func severalWords(class string, all int, of []answer) string {
	which := ""
	if len(of) <= mostLead {
		var each []string
		for _, a := range of {
			each = append(each, a.Row.Comparison)
		}
		which = " (" + strings.Join(each, "; ") + ")"
	}
	return sentence(fmt.Sprintf("of %d comparisons, %d %s%s", all, len(of), inShort[class], which))
}

// names reports whether a title holds the name of a chain, with spaces or hyphens.
func names(title, chain string) bool {
	plain := func(s string) string {
		return " " + strings.Join(strings.FieldsFunc(strings.ToLower(s), notInWord), " ") + " "
	}
	return strings.Contains(plain(title), plain(chain))
}

func notInWord(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }

var inShort = map[string]string{"heard": "were heard by somebody", "ruled-out": "were not shown to be heard by anybody, and for each the table says how often at the most they can have been",
	"undecided": "are not settled", "void": "do not count: the table says why"}

func withClass(cards []answer, class string) []answer {
	var out []answer
	for _, a := range cards {
		if a.Class == class {
			out = append(out, a)
		}
	}
	return out
}

func sentence(text string) string { return strings.ToUpper(text[:1]) + text[1:] + "." }

// pair names what was compared, with its excerpt and its design where another card is of the same chains.
func (a answer) pair(cards []answer) string {
	if a.Row.Treatment != "" {
		return a.Row.Comparison
	}
	name := fmt.Sprintf("%s and %s", a.Row.A, a.Row.B)
	var of []string
	for _, other := range cards {
		if other.Row.A != a.Row.A || other.Row.B != a.Row.B {
			continue
		}
		if other.Row.Excerpt != a.Row.Excerpt {
			of = append(of, "on “"+a.Row.Excerpt+"”")
		}
		if d, err := trials.ParseDesign(a.Row.Design); err == nil && other.Row.Design != a.Row.Design {
			of = append(of, "by "+cmp.Or(d.Title(), "ABX"))
		}
	}
	if slices.Sort(of); len(of) > 0 {
		name += " (" + strings.Join(slices.Compact(of), ", ") + ")"
	}
	return name
}

// lead is the card in a sentence or two, without its full stop.
func (a answer) lead(cards []answer) string {
	pair, r := a.pair(cards), a.Row
	switch {
	case a.Class == "void":
		return voidLead(pair, r)
	case a.Class == "heard" && len(a.By[link.HeardIt]) == 0:
		return fmt.Sprintf("somebody among the %d listeners heard the difference between %s: together they were right more often than guessing allows, though none of them shows it alone", r.Listeners, pair)
	case a.Class == "heard":
		return heardLead(pair, a.By)
	case a.Class == "ruled-out":
		return ruledOutLead(pair, r, a.By)
	}
	return openLead(pair, r, a.By)
}

// voidLead says why answers do not count.
func voidLead(pair string, r link.Row) string {
	var alone []string
	for _, c := range r.Confounds {
		if said, ok := audibleAlone[c.Name]; ok && c.Voids {
			alone = append(alone, said)
		}
	}
	if len(alone) > 0 {
		return fmt.Sprintf("the answers about %s do not count: they were told apart, but a difference in %s remained that would be heard by itself", pair, inWords(alone))
	}
	return fmt.Sprintf("the answers about %s do not count: %s", pair, proper(r.Reason))
}

// audibleAlone are the confounds that void a result because they would be heard by themselves.
var audibleAlone = map[string]string{"level": "level", "alignment": "timing", "response": "frequency response"}

// heardLead says who heard it, and what holds for the others.
func heardLead(pair string, by map[link.Verdict][]link.Row) string {
	heard, n := by[link.HeardIt], counting(by)
	if n == 1 {
		return fmt.Sprintf("%s heard the difference between %s", people(heard), pair)
	}
	who := fmt.Sprintf("%d of %s", len(heard), whose(by)) + inBrackets(heard)
	if len(heard) == n {
		who = "all " + whose(by)
	}
	if len(heard) == n && n == 2 {
		who = "both listeners"
	}
	s := fmt.Sprintf("%s heard the difference between %s", who, pair)
	if none, open := by[link.RuledOut], by[link.Undecided]; len(none)+len(open) > 0 {
		s += ". " + strings.Join(parts(none, open), "; ")
	}
	return s
}

// whose says how many listeners there are whose answers count.
func whose(by map[link.Verdict][]link.Row) string {
	s := trials.Counted(counting(by), "listener")
	if len(by[link.Void]) > 0 {
		s += " whose answers count"
	}
	return s
}

// ruledOutLead says what is excluded for each listener, and for their average.
func ruledOutLead(pair string, r link.Row, by map[link.Verdict][]link.Row) string {
	none, open, n := by[link.RuledOut], by[link.Undecided], counting(by)
	if n == 1 {
		return fmt.Sprintf("%s was not shown to hear a difference between %s. One that is heard on %s of trials or more is excluded", people(append(none, open...)), pair, share(r.UpperPD))
	}
	s := fmt.Sprintf("none of the %s was shown to hear a difference between %s. ", whose(by), pair)
	if n == 2 {
		s = strings.Replace(s, "none of the 2", "neither of the two", 1)
	}
	if len(none) == n {
		return s + fmt.Sprintf("For each of them, one that is heard on %s of trials or more is excluded; for their average, on %s", share(worst(none)), share(r.UpperPD))
	}
	s += fmt.Sprintf("For their average, one that is heard on %s of trials or more is excluded. ", share(r.UpperPD))
	if len(none) == 0 && !slices.ContainsFunc(open, settledOtherwise) {
		return s + "For each of them alone, the test was too short to say"
	}
	return s + strings.Join(parts(none, open), "; ")
}

// settledOtherwise reports whether an undecided row is one that more trials would not have settled.
func settledOtherwise(r link.Row) bool { return r.Hidden || r.WrongWay }

// openLead says why nothing is settled, and for whom something is.
func openLead(pair string, r link.Row, by map[link.Verdict][]link.Row) string {
	none, open := by[link.RuledOut], by[link.Undecided]
	var s string
	switch {
	case r.Hidden:
		return fmt.Sprintf("whether anybody hears a difference between %s is not settled: what the listeners heard it through has more jitter and noise of its own than both", pair)
	case r.WrongWay:
		return fmt.Sprintf("the answers about %s were wrong more often than guesses are, as if both were told apart and named the wrong way round. That settles nothing", pair)
	case r.UpperPD < 1:
		s = fmt.Sprintf("whether anybody hears a difference between %s is not settled: one that is heard on up to %s of trials stays possible", pair, share(r.UpperPD))
	default:
		s = fmt.Sprintf("whether anybody hears a difference between %s is not settled", pair)
	}
	if len(none) > 0 {
		s += ". " + strings.Join(parts(none, open), "; ")
	}
	return s
}

// parts say what holds for listeners who were not shown to hear it.
func parts(none, open []link.Row) []string {
	var out []string
	if len(none) > 0 {
		out = append(out, fmt.Sprintf("for %s, one that is heard on %s of trials or more is excluded", calledBy(none), share(worst(none))))
	}
	out = append(out, whyOpen(open)...)
	out[0] = capitalisedWord(out[0])
	return out
}

// whyOpen says of undecided listeners why they are, each reason once.
func whyOpen(open []link.Row) []string {
	var out []string
	for _, why := range []struct {
		words string
		is    func(link.Row) bool
	}{
		{"for %s, what they heard it through has more jitter and noise of its own than both chains", func(r link.Row) bool { return r.Hidden }},
		{"the answers of %s were wrong more often than guesses are, which settles nothing", func(r link.Row) bool { return r.WrongWay && !r.Hidden }},
		{"for %s, the test was too short to say", func(r link.Row) bool { return !settledOtherwise(r) }},
	} {
		if rows := slices.DeleteFunc(slices.Clone(open), func(r link.Row) bool { return !why.is(r) }); len(rows) > 0 {
			out = append(out, fmt.Sprintf(why.words, calledBy(rows)))
		}
	}
	return out
}

// calledBy names listeners, and their group where they share one.
func calledBy(rows []link.Row) string {
	who, group := people(rows), rows[0].Group
	for _, r := range rows {
		if r.Group != group {
			group = ""
		}
	}
	if group == "" {
		return who
	}
	return fmt.Sprintf("%s (%s)", who, group)
}

// thresholdLead says from which dose on the listeners of threshold runs hear it: one sentence a ladder.
func thresholdLead(all []link.Threshold) []string {
	var out []string
	for i, t := range all {
		if slices.IndexFunc(all, func(o link.Threshold) bool { return o.SameLadder(t) }) != i {
			continue
		}
		if s := ladderLead(t, all); s != "" {
			out = append(out, sentence(s))
		}
	}
	return out
}

func ladderLead(t link.Threshold, all []link.Threshold) string {
	var have []link.Threshold
	var beyond, without []string
	for _, o := range all {
		switch {
		case o.Kind != "listener" || !o.SameLadder(t):
		case !math.IsNaN(o.Threshold):
			have = append(have, o)
		case !math.IsNaN(o.ThresholdInterval[0]):
			beyond = append(beyond, o.Listener)
		default:
			without = append(without, o.Listener)
		}
	}
	slices.SortStableFunc(have, func(a, b link.Threshold) int { return cmp.Compare(a.ThresholdDB, b.ThresholdDB) })
	var out []string
	for i, o := range have {
		if i >= mostLead {
			out = append(out, fmt.Sprintf("the thresholds of %s are higher", trials.Counted(len(have)-i, "other")))
			break
		}
		what := o.What
		if strings.Contains(what, ",") {
			what += ","
		}
		found, unit := link.Scaled(o.Unit, o.Threshold, o.ThresholdInterval[0], o.ThresholdInterval[1])
		interval := strings.Replace(link.IntervalWords([2]float64(found[1:]), number, ""), "95 %", "95\u00a0%", 1)
		out = append(out, fmt.Sprintf("%s begins to hear %s from %s %s on (%s)", o.Listener, what, number(found[0]), unit, interval))
	}
	if len(beyond) > 0 {
		out = append(out, fmt.Sprintf("the doses bound the threshold of %s from below only", few(beyond)))
	}
	if len(without) > 0 {
		out = append(out, fmt.Sprintf("the answers of %s give no threshold for %s", few(without), t.What))
	}
	return strings.Join(out, "; ")
}

// mostNamed is how many listeners a sentence names. A judgement, no source; TestTheFirstLinesAnswerTheTitle holds it.
const mostNamed = 6

// few names a few listeners, and counts many.
func few(names []string) string {
	if len(names) > mostNamed {
		return trials.Counted(len(names), "listener")
	}
	return inWords(names)
}
