package trials

import (
	"fmt"
	"slices"

	"heardiff/stats"
)

// Design is the kind of question that a plan asks. Everything about a design is in one value, in a file of its own
// (design_abx.go …); the rest of the program asks it and never distinguishes designs. The zero value is not a design and is
// rejected.
type Design struct{ of *design }

// Designs returns all designs, in the order in which they are listed to users.
func Designs() []Design { return []Design{ABX, SameDifferent, Triangle, TwoInterval} }

// design is the value behind a Design.
type design struct {
	// name is used in plans and on the command line, title above figures ("": none needed), words in the method section of
	// a report.
	name, title, words string
	// question is what the listener is asked, mustHear what they must do before they answer, ofDoses what B is where it is a dose.
	question, mustHear, ofDoses string
	// presentations are what can be played in a trial, answers what can be answered, each in the order of the keys.
	presentations []presentation
	answers       []choice
	// needed lists sets of presentations, by index: at least one of each set must be heard before an answer.
	needed [][]int
	// dealt are the equally likely assignments that may be hidden in a trial; each answer is right in the same share of
	// them.
	dealt []assignment
	// procedure is the model by which counts of right answers are scored; it sets the chance level.
	procedure stats.Procedure
	// byRates marks a design in which response bias changes the proportion correct unless both kinds of trial are equally
	// frequent: hits and false alarms are tested instead, by Fisher's exact test. Only for designs of two answers.
	byRates bool
	// resultKey is the key of a comparison's score in the JSON of results.
	resultKey string
}

// presentation is one of the sounds that can be played in a trial.
type presentation struct {
	label Label
	keys  []string // of the full screen
	help  string
}

// choice is an answer.
type choice struct {
	answer Answer
	key    string // of the full screen
	help   string // help text of the key
	claim  string // what the listener claims, as a sentence
}

// assignment is what is hidden in a trial: the source of each presentation, and the right answer. It is never formatted.
type assignment struct {
	sounds []Source
	right  Answer
}

// Format reveals nothing of what is hidden, whatever the verb.
func (assignment) Format(f fmt.State, _ rune) { fmt.Fprint(f, "(hidden)") }

// ParseDesign reads a name that String writes; anything else is an error.
func ParseDesign(name string) (Design, error) {
	for _, d := range Designs() {
		if d.of.name == name {
			return d, nil
		}
	}
	return Design{}, fmt.Errorf("design %q unknown", name)
}

// DesignNames lists the designs as the command line takes them: "abx, same-different, … or …".
func DesignNames() string {
	var names []string
	for _, d := range Designs() {
		names = append(names, d.String())
	}
	return AnyOf(names)
}

// Known reports whether d is a design; the zero value is not.
func (d Design) Known() bool { return d.of != nil }

// String returns the name, "" for no design.
func (d Design) String() string {
	if d.of == nil {
		return ""
	}
	return d.of.name
}

// MarshalText writes String.
func (d Design) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what String writes; anything else is an error.
func (d *Design) UnmarshalText(t []byte) error {
	parsed, err := ParseDesign(string(t))
	if err != nil {
		return err
	}
	*d = parsed
	return nil
}

// Title names the design above a figure, such as "duplicate pairs"; "" where no title is needed.
func (d Design) Title() string { return d.of.title }

// Words describes the design in a report, such as "ABX (which of A and B is X?)".
func (d Design) Words() string { return d.of.words }

// Question returns what the listener is asked in each trial.
func (d Design) Question() string { return d.of.question }

// OfDoses says what B is in a threshold run, "" where the question needs no such word.
func (d Design) OfDoses() string { return d.of.ofDoses }

// ResultKey returns the key of a comparison's score in the JSON of results.
func (d Design) ResultKey() string { return d.of.resultKey }

// Labels returns the labels of the design, in the order of its keys.
func (d Design) Labels() []Label {
	return each(d.of.presentations, func(p presentation) Label { return p.label })
}

// Answers returns the answers of the design, in the order of its keys.
func (d Design) Answers() []Answer {
	return each(d.of.answers, func(c choice) Answer { return c.answer })
}

// AnswerNames returns the names of the answers, in the order of its keys.
func (d Design) AnswerNames() []string {
	return each(d.Answers(), Answer.String)
}

// Claim returns an answer as the listener's claim, such as "X is A"; "" for an answer that the design does not have.
func (d Design) Claim(a Answer) string {
	if i := d.index(a); i >= 0 {
		return d.of.answers[i].claim
	}
	return ""
}

// Binding is a key binding of the full screen: its keys and their help text.
type Binding struct {
	Keys []string
	Help string
}

// PlayKeys returns the bindings of the full screen that play, one for each label in the order of Labels.
func (d Design) PlayKeys() []Binding {
	return each(d.of.presentations, func(p presentation) Binding { return Binding{p.keys, p.help} })
}

// AnswerKeys returns the bindings of the full screen that answer, one for each answer in the order of Answers.
func (d Design) AnswerKeys() []Binding {
	return each(d.of.answers, func(c choice) Binding { return Binding{[]string{c.key}, c.help} })
}

// Dealt returns the right answer of each assignment that may be hidden in a trial, in the order in which a seed draws among
// them.
func (d Design) Dealt() []Answer {
	return each(d.of.dealt, func(a assignment) Answer { return a.right })
}

// Chance returns the expected proportion correct of a listener who guesses.
func (d Design) Chance() float64 { return d.of.procedure.Chance() }

// Procedure returns the model by which counts of right answers are scored.
func (d Design) Procedure() stats.Procedure { return d.of.procedure }

// Score scores k correct of n trials under the name of the design. It is an error if the counts or the configuration are
// out of range.
func (d Design) Score(k, n int, cfg stats.ScoreConfig) (stats.Score, error) {
	cfg = d.Scored(cfg)
	return stats.ScoreChoice(cfg.Procedure, k, n, cfg)
}

// Scored returns cfg with the procedure and name of the design.
func (d Design) Scored(cfg stats.ScoreConfig) stats.ScoreConfig {
	cfg.Procedure, cfg.Design = d.of.procedure, d.of.name
	return cfg
}

// ByRates reports whether hits against false alarms are tested instead of the count of right answers, which response bias
// changes.
func (d Design) ByRates() bool { return d.of.byRates }

// index returns the index of an answer among those of the design, −1 where it is not one of them.
func (d Design) index(a Answer) int {
	return slices.IndexFunc(d.of.answers, func(c choice) bool { return c.answer == a })
}

// heardFor reports whether everything that must be heard before an answer sounded for at least the given number of frames.
// heard counts the frames in the order of the design's labels.
func (d Design) heardFor(heard []int64, frames int64) bool {
	if len(heard) != len(d.of.presentations) {
		return false
	}
	for _, either := range d.of.needed {
		most := int64(0)
		for _, i := range either {
			most = max(most, heard[i])
		}
		if most < frames {
			return false
		}
	}
	return true
}

// possible returns the equally likely assignments.
func (d Design) possible() []*assignment {
	all := make([]*assignment, len(d.of.dealt))
	for i := range all {
		all[i] = &d.of.dealt[i]
	}
	return all
}

// sound returns the source that sounds under a label in a trial with the given assignment; false where the design has no
// such label.
func (d Design) sound(a *assignment, l Label) (Source, bool) {
	i := slices.IndexFunc(d.of.presentations, func(p presentation) bool { return p.label == l })
	if i < 0 {
		return 0, false
	}
	return a.sounds[i], true
}

// AllLabels returns the labels of all designs, each once, in the order of Designs: the columns of a table of trials.
func AllLabels() []Label {
	var all []Label
	for _, d := range Designs() {
		for _, l := range d.Labels() {
			if !slices.Contains(all, l) {
				all = append(all, l)
			}
		}
	}
	return all
}

// each returns what of makes of every item, nil of none.
func each[T, U any](items []T, of func(T) U) (all []U) {
	for _, item := range items {
		all = append(all, of(item))
	}
	return all
}
