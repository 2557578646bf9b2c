package report

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"heardiff/trials"
	"heardiff/trials/link"
)

// answer is what the study says of one comparison, in words for whoever asked the question of its title.
type answer struct {
	Row link.Row
	// Short is the answer in a few words, Class its colour.
	Short, Class string
	// Sentences say first who heard it, then what holds of all together.
	Sentences []string
	// By are the listeners by their verdicts.
	By map[link.Verdict][]link.Row
}

// answers has one for each comparison.
func answers(rows []link.Row) []answer {
	var out []answer
	for _, all := range rows {
		if all.Kind == "all" {
			out = append(out, answerOf(all, countedWith(all, rows)))
		}
	}
	return out
}

// countedWith returns the listeners that a sum adds up: sessions of people are not mixed with others.
func countedWith(all link.Row, rows []link.Row) []link.Row {
	var each []link.Row
	for _, r := range rows {
		if r.Kind == "listener" && r.Comparison == all.Comparison && r.A == all.A && r.B == all.B && r.Excerpt == all.Excerpt && r.Design == all.Design &&
			(all.Simulated || !r.Simulated) && (all.Silent || !r.Silent) {
			each = append(each, r)
		}
	}
	return each
}

func answerOf(all link.Row, each []link.Row) answer {
	a := answer{Row: all, Short: string(all.Verdict), Class: strings.ReplaceAll(string(all.Verdict), " ", "-")}
	by := map[link.Verdict][]link.Row{}
	for _, r := range each {
		by[r.Verdict] = append(by[r.Verdict], r)
	}
	a.By = by
	if len(each) == 1 {
		a.Sentences = []string{alone(each[0])}
		return a
	}
	if all.Verdict == link.Void {
		a.Sentences = []string{together(all)}
		return a
	}
	if heard := by[link.HeardIt]; len(heard) > 0 {
		a.Short, a.Class = fmt.Sprintf("heard by %d of %d", len(heard), counting(by)), "heard"
	}
	a.Sentences = append(apart(by), together(all))
	if all.LeftOut > 0 {
		a.Sentences = append(a.Sentences, fmt.Sprintf("Their sum leaves out %s in which a control failed.", trials.Counted(all.LeftOut, "session")))
	}
	return a
}

// counting is how many listeners there are whose answers count, as link counts those who hear it.
func counting(by map[link.Verdict][]link.Row) int {
	return len(by[link.HeardIt]) + len(by[link.RuledOut]) + len(by[link.Undecided])
}

// alone is the result of one listener.
func alone(r link.Row) string {
	score := fmt.Sprintf("%d of %d right", r.Correct, r.Trials)
	switch {
	case r.Verdict == link.HeardIt:
		return fmt.Sprintf("%s told them apart: %s, more than guessing gives.", r.Listener, score)
	case r.Verdict == link.RuledOut:
		return fmt.Sprintf("%s%s. A difference that %s hears on %s of trials or more is excluded.", score, r.Guessed(), r.Listener, share(r.UpperPD))
	case r.Verdict == link.Void:
		return void(r)
	case r.UpperPD < 1:
		return fmt.Sprintf("%s. That neither shows a difference nor excludes one that is heard on up to %s of trials.", score, share(r.UpperPD))
	}
	return score + ". That shows nothing either way."
}

// apart says of several listeners who heard it, for whom how much is excluded, and for whom nothing is settled.
func apart(by map[link.Verdict][]link.Row) []string {
	var out []string
	n := counting(by)
	all := fmt.Sprintf("the %d listeners", n)
	if len(by[link.Void]) > 0 {
		all += " whose answers count"
	}
	switch heard := by[link.HeardIt]; {
	case n == 0:
	case n == 1 && len(heard) == 1:
		out = append(out, "The only listener whose answers count heard it.")
	case n == 1:
		out = append(out, "The only listener whose answers count was not shown to hear it.")
	case len(heard) == 0:
		out = append(out, fmt.Sprintf("None of %s was shown to hear it.", all))
	case len(heard) == n:
		out = append(out, fmt.Sprintf("All of %s heard it.", all))
	default:
		out = append(out, fmt.Sprintf("%d of %s heard it%s.", len(heard), all, inBrackets(heard)))
	}
	if none := by[link.RuledOut]; len(none) > 0 {
		out = append(out, fmt.Sprintf("For %s, a difference that is heard on %s of trials or more is excluded.", people(none), share(worst(none))))
	}
	for _, why := range whyOpen(by[link.Undecided]) {
		out = append(out, capitalisedWord(why)+".")
	}
	if void := by[link.Void]; len(void) > 0 {
		out = append(out, fmt.Sprintf("The answers of %s do not count: the table says why.", people(void)))
	}
	return out
}

// worst is the largest of the bounds of rows.
func worst(rows []link.Row) float64 {
	most := 0.0
	for _, r := range rows {
		most = math.Max(most, r.UpperPD)
	}
	return most
}

// together says what holds of the sum, and that it speaks of the average alone.
func together(r link.Row) string {
	score := fmt.Sprintf("Together %d of %d answers were right", r.Correct, r.Trials)
	switch {
	case r.Verdict == link.HeardIt:
		return score + ", more than guessing gives: somebody among them hears it."
	case r.Verdict == link.RuledOut:
		return fmt.Sprintf("%s%s: for their average, a difference that is heard on %s of trials or more is excluded. One who hears it can hide among many who do not.", score, r.Guessed(), share(r.UpperPD))
	case r.Verdict == link.Void:
		return void(r)
	case r.UpperPD < 1:
		return fmt.Sprintf("%s: that neither shows a difference nor excludes one that they hear on up to %s of trials on average.", score, share(r.UpperPD))
	}
	return score + ": that shows nothing either way."
}

// void says why a result counts for nothing.
func void(r link.Row) string {
	reason := proper(r.Reason)
	return "This counts for nothing. " + strings.ToUpper(reason[:1]) + reason[1:] + "."
}

// hyphenMinus finds what prints as a hyphen and means a minus.
var hyphenMinus = regexp.MustCompile(`(^|[ (±])-([0-9])`)

// proper writes the minus signs of a text as such, and keeps a number and its per cent sign on one line.
func proper(text string) string {
	return strings.ReplaceAll(hyphenMinus.ReplaceAllString(text, "$1−$2"), " %", "\u00a0%")
}

// people names a few listeners, and counts many.
func people(rows []link.Row) string {
	names := make([]string, len(rows))
	for i, r := range rows {
		names[i] = r.Listener
	}
	return few(names)
}

// inWords lists names as a sentence does.
func inWords(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " and " + names[last]
}

// inBrackets names a few listeners, and nobody where they are many.
func inBrackets(rows []link.Row) string {
	if len(rows) > mostNamed {
		return ""
	}
	return " (" + people(rows) + ")"
}

// share is a proportion in whole per cent, rounded up: what is excluded stays excluded. It is 1 % at the least, for nobody hears anything
// on 0 % of trials or more.
func share(v float64) string { return fmt.Sprintf("%.0f\u00a0%%", max(1, math.Ceil(100*v-1e-9))) }

// controlled is what one listener made of the trials of known answer, in one comparison's sessions.
type controlled struct {
	Row link.Row
	// Positive and Negative say in words what the counts mean.
	Positive, Negative string
}

// controls lists the listeners whose plans had controls.
func controls(rows []link.Row) []controlled {
	var out []controlled
	for _, r := range rows {
		if r.Kind != "listener" || r.Positive.Trials+r.Negative.Trials == 0 {
			continue
		}
		c := controlled{Row: r, Positive: "heard it", Negative: "guessed"}
		switch {
		case r.Positive.Trials == 0:
			c.Positive = "–"
		case r.Positive.Missed(r.Alpha):
			c.Positive = "missed it"
		}
		switch {
		case r.Negative.Trials == 0:
			c.Negative = "–"
		case r.Negative.Leaks():
			c.Negative = "knew it"
		}
		out = append(out, c)
	}
	return out
}

// obtained says in a sentence or two how the results came about.
func obtained(in Input) string {
	var listeners []string
	answers := 0
	double := true
	for _, s := range in.Sessions {
		if answers += s.Answers; !slices.Contains(listeners, s.Listener) {
			listeners = append(listeners, s.Listener)
		}
	}
	for _, p := range in.Plans {
		double = double && !p.SingleBlind
	}
	if len(in.Sessions) == 0 {
		return ""
	}
	blind := "Neither the listener nor anybody near knew which was playing"
	if !double {
		blind = "In some sessions a helper knew which was playing"
	}
	return fmt.Sprintf("%s answered %d trials in %s. In each trial chance decided what was played, and the listener was asked %s %s: the order was drawn and sealed before the first trial, and opened after the last.",
		plural(len(listeners), "listener"), answers, strings.ToLower(plural(len(in.Sessions), "session")), questions(in.Plans), blind)
}

// questions are what the plans' designs ask, each once.
func questions(plans []trials.Plan) string {
	var asked []string
	for _, p := range plans {
		if q := "“" + p.Design.Question() + "”"; p.Design.Known() && !slices.Contains(asked, q) {
			asked = append(asked, q)
		}
	}
	return strings.Join(asked, " or ")
}

func plural(n int, what string) string {
	if n == 1 {
		return "One " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
