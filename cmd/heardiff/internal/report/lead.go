package report

import (
	"fmt"
	"strings"
	"unicode"

	"heardiff/trials"
	"heardiff/trials/link"
)

// mostLead is how many comparisons the first lines of a page speak of one by one.
const mostLead = 5

// lead answers the question of the title for whoever reads no further: first of the chains that it names, then what was heard, what
// is excluded, and what is open; a sentence each. It never says more than the verdicts do.
func lead(title string, cards []answer) []string {
	said := map[string]bool{}
	var named, out []string
	for _, class := range []string{"heard", "ruled-out", "undecided", "void"} {
		of := withClass(cards, class)
		if len(cards) > mostLead && len(of) > 1 {
			out = append(out, sentence(fmt.Sprintf("of %d comparisons %d %s", len(cards), len(of), inShort[class])))
			continue
		}
		for _, a := range of {
			key := class + a.pair()
			switch s := sentence(a.lead()); {
			case said[key]: // in another design
			case names(title, a.Row.A) || names(title, a.Row.B):
				named = append(named, s)
			default:
				out = append(out, s)
			}
			said[key] = true
		}
	}
	return append(named, out...)
}

// names reports whether a title holds the name of a chain, with spaces or hyphens.
func names(title, chain string) bool {
	plain := func(s string) string {
		return " " + strings.Join(strings.FieldsFunc(strings.ToLower(s), notInWord), " ") + " "
	}
	return strings.Contains(plain(title), plain(chain))
}

func notInWord(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }

var inShort = map[string]string{"heard": "were heard by somebody", "ruled-out": "were heard by nobody so far as the bounds below say",
	"undecided": "are not settled", "void": "count for nothing"}

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

// pair names what was compared.
func (a answer) pair() string {
	if a.Row.Treatment != "" {
		return a.Row.Comparison
	}
	return fmt.Sprintf("%s and %s", a.Row.A, a.Row.B)
}

// lead is the card in a sentence, without its full stop.
func (a answer) lead() string {
	pair, heard := a.pair(), a.By[link.HeardIt]
	switch {
	case a.Class == "heard" && len(heard) == 0:
		return fmt.Sprintf("the difference between %s was heard by somebody among the %d listeners, though by none of them alone", pair, a.Row.Listeners)
	case a.Class == "heard" && counting(a.By) == 1:
		return fmt.Sprintf("%s heard the difference between %s", people(heard), pair)
	case a.Class == "heard":
		return fmt.Sprintf("%d of %d listeners heard the difference between %s%s", len(heard), counting(a.By), pair, others(a.By))
	case a.Class == "ruled-out" && a.Row.Listeners == 1:
		return fmt.Sprintf("no difference between %s was shown to be heard, and one heard on %s of trials or more is excluded", pair, share(a.Row.UpperPD))
	case a.Class == "ruled-out":
		return fmt.Sprintf("nobody was shown to hear a difference between %s, and one heard on %s of trials or more on average is excluded", pair, share(a.Row.UpperPD))
	case a.Class == "void":
		return fmt.Sprintf("the answers about %s do not count", pair)
	}
	return fmt.Sprintf("whether anybody hears a difference between %s is not settled", pair)
}

// others says what holds for those who were not shown to hear it.
func others(by map[link.Verdict][]link.Row) string {
	none, open := by[link.RuledOut], by[link.Undecided]
	switch {
	case len(none)+len(open) == 0:
		return ""
	case len(open) == 0 && len(none) == 1:
		return fmt.Sprintf("; for the other, a difference heard on %s of trials or more is excluded", share(worst(none)))
	case len(open) == 0:
		return fmt.Sprintf("; for the other %d, a difference heard on %s of trials or more is excluded", len(none), share(worst(none)))
	case len(none) == 0:
		return "; for the rest it is not settled"
	}
	return fmt.Sprintf("; for %s, a difference heard on %s of trials or more is excluded, and for %s it is not settled",
		trials.Counted(len(none), "other"), share(worst(none)), trials.Counted(len(open), "other"))
}
