// Package trials holds the vocabulary of a study and the engine that runs a blind session.
//
// The engine does no input or output and has no clock: a Journal makes each entry durable before the session
// goes on, and time is passed in. What is hidden (which source X plays) leaves the package only through
// Session.Route, whose Cue prints as a fixed text, so that no screen, log or error can reveal it by accident.
//
//	plan.Validate()                            what will be run, fixed before the first trial
//	s, _ := trials.Begin(id, seat, plan, seed, ...)  one listener works through one plan; trials.Resume after a break
//	s.View()                                   all that a screen may show: the same for every hidden assignment
//	s.Route(trials.LabelX)                     what must be played: for playback only
//	s.Heard(label, frames); s.Ask(answer, 0); s.Confirm()
//	s.Result(entries)                          ErrBlind until the session has ended
//	trials.Reveal(plan, entries)               the same from the record alone, and the proof that it is intact
//
// The complete order follows from a session's seed, see deal; testdata/redeal.py recomputes it without this package.
//
// Words: a presentation is what one key plays; a source (A or B) is one of the two things compared; a label is
// the key's name; a trial is one question and its answer.
package trials

import (
	"errors"
	"fmt"
	"slices"
)

// Errors a caller branches on.
var (
	// ErrBlind is returned when a result is asked for before the session has ended.
	ErrBlind = errors.New("results are withheld until the session ends")
	// ErrNotHeard is returned when an answer comes before everything that the design requires was heard.
	ErrNotHeard = errors.New("not everything has been heard yet")
	// ErrNotNow is returned when an action does not fit the session's phase.
	ErrNotNow = errors.New("not possible now")
)

// Source is what sounds: one of the two things compared.
type Source uint8

// The sources.
const (
	SourceA Source = iota
	SourceB
)

// Label is what is pressed: the name of a presentation. Each design has its own; "" is none.
type Label string

// LabelUnset is no label.
const LabelUnset Label = ""

// Answer is what the listener answers in a trial. Each design has its own; "" is none.
type Answer string

// AnswerUnset is no answer.
const AnswerUnset Answer = ""

// Kind says what a comparison is for. A listener knows only which trials are practice.
type Kind uint8

// The kinds of comparison.
const (
	Scored          Kind = iota // the question of the study
	Practice                    // with feedback, not counted
	PositiveControl             // a plain difference: if a listener misses it, missing others proves nothing
	NegativeControl             // the same audio twice: if a listener 'hears' a difference, something leaks
	Graded                      // a dose of a threshold run: the answers determine how often it is asked
)

// Layout says how the comparisons of a plan follow one another.
type Layout uint8

// The layouts.
const (
	Interleaved Layout = iota // trials of all comparisons shuffled together
	Blocked                   // one comparison after the other, in random order
)

// Order says how the hidden assignment is drawn.
type Order uint8

// The orders.
const (
	// Independent draws each trial by a fair coin: the exact binomial test assumes it, and past trials say nothing
	// about the next.
	Independent Order = iota
	// Balanced has each assignment equally often within a comparison. For a listener who knows that, and gives both answers
	// equally often, the score is no longer binomial: of 16 trials 12 or more are right with probability
	// 849/12870 = 0.066 (hypergeometric), not 2517/65536 = 0.038. Such results are tested conditionally on how often each
	// answer was given (Fisher's exact test on Tally.Answers), which holds for every strategy.
	Balanced
)

var (
	sourceNames = []string{"A", "B"}
	kindNames   = []string{"scored", "practice", "positive control", "negative control", "graded"}
	layoutNames = []string{"interleaved", "blocked"}
	orderNames  = []string{"independent", "balanced"}
)

func name[T ~uint8](names []string, v T) string {
	if int(v) < len(names) {
		return names[v]
	}
	return fmt.Sprintf("%d?", v)
}

func parse[T ~uint8](what string, names []string, text []byte, v *T) error {
	for i, n := range names {
		if n == string(text) && n != "" {
			*v = T(i)
			return nil
		}
	}
	return fmt.Errorf("%s %q unknown", what, text)
}

// String returns "A" or "B".
func (s Source) String() string { return name(sourceNames, s) }

// String returns the label's key.
func (l Label) String() string { return string(l) }

// UnmarshalText reads a label of any design; anything else is an error.
func (l *Label) UnmarshalText(t []byte) error {
	if !slices.Contains(AllLabels(), Label(t)) {
		return fmt.Errorf("label %q unknown", t)
	}
	*l = Label(t)
	return nil
}

// String returns the answer's name.
func (a Answer) String() string { return string(a) }

// UnmarshalText reads an answer of any design, or "" for no answer; anything else is an error.
func (a *Answer) UnmarshalText(t []byte) error {
	of := func(d Design) bool { return d.index(Answer(t)) >= 0 }
	if len(t) > 0 && !slices.ContainsFunc(Designs(), of) {
		return fmt.Errorf("answer %q unknown", t)
	}
	*a = Answer(t)
	return nil
}

// String returns the kind in words.
func (k Kind) String() string { return name(kindNames, k) }

// MarshalText writes String.
func (k Kind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// UnmarshalText reads what String writes, and errors for anything else.
func (k *Kind) UnmarshalText(t []byte) error { return parse("kind", kindNames, t, k) }

// String returns "interleaved" or "blocked".
func (l Layout) String() string { return name(layoutNames, l) }

// MarshalText writes String.
func (l Layout) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// UnmarshalText reads what String writes, and errors for anything else.
func (l *Layout) UnmarshalText(t []byte) error { return parse("layout", layoutNames, t, l) }

// String returns "independent" or "balanced".
func (o Order) String() string { return name(orderNames, o) }

// MarshalText writes String.
func (o Order) MarshalText() ([]byte, error) { return []byte(o.String()), nil }

// UnmarshalText reads what String writes, and errors for anything else.
func (o *Order) UnmarshalText(t []byte) error { return parse("order", orderNames, t, o) }
