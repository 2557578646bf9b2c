package trials

import (
	"fmt"
	"slices"
	"strings"

	"heardiff/stats"
)

// Design is the kind of question a plan asks. All that a design is stands in one value, in a file of its own
// (design_abx.go …); the rest asks it and never tells designs apart. The zero value is no design and is rejected.
type Design struct{ of *design }

// Designs returns every design there is, in the order in which they are listed to people.
func Designs() []Design { return []Design{ABX, SameDifferent, Triangle, TwoInterval} }

// design is what a design is.
type design struct {
	// name stands in plans and on the command line, title above figures ("": it need not be said), words in the method of a
	// report.
	name, title, words string
	// question is what the listener is asked, mustHear what they must do before they answer.
	question, mustHear string
	// presentations are what can be heard in a trial, answers what can be said of it, each in the order of the keys.
	presentations []presentation
	answers       []choice
	// needed are the presentations, by index, of which at least one of each set must be heard before an answer.
	needed [][]int
	// dealt are the assignments that may be hidden in a trial, each as likely as any other; each answer is right in the
	// same share of them.
	dealt []assignment
	// procedure is the model by which counts of right answers are scored, and has the chance of a guesser.
	procedure stats.Procedure
	// byRates marks a design in which a habit of answering moves the proportion correct wherever both kinds of trial are
	// not equally many: hits and false alarms are tested instead, by Fisher's exact test. Only designs of two answers.
	byRates bool
	// resultKey names the score of a comparison in the JSON of results.
	resultKey string
}

// presentation is one of the things that can be heard in a trial.
type presentation struct {
	label Label
	keys  []string // of the full screen
	help  string
}

// choice is an answer.
type choice struct {
	answer Answer
	key    string // of the full screen
	help   string // what the key says
	claim  string // what the listener says, in a sentence
}

// assignment is what is hidden in a trial: what sounds as each presentation, and the answer that is right. It is never
// formatted.
type assignment struct {
	sounds []Source
	right  Answer
}

// Format writes nothing of what is hidden, under every verb.
func (assignment) Format(f fmt.State, _ rune) { fmt.Fprint(f, "(hidden)") }

// ParseDesign reads a name that String writes, and errors for anything else.
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
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}

// Known reports whether d is a design; the zero value is not.
func (d Design) Known() bool { return d.of != nil }

// String returns the name, "" of no design.
func (d Design) String() string {
	if d.of == nil {
		return ""
	}
	return d.of.name
}

// MarshalText writes String.
func (d Design) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what String writes, and errors for anything else.
func (d *Design) UnmarshalText(t []byte) error {
	parsed, err := ParseDesign(string(t))
	if err != nil {
		return err
	}
	*d = parsed
	return nil
}

// Title names the design above a figure, such as "duplicate pairs"; "" where it need not be said.
func (d Design) Title() string { return d.of.title }

// Words describes the design in a report, such as "ABX (which of A and B is X?)".
func (d Design) Words() string { return d.of.words }

// Question is what the listener is asked in each trial.
func (d Design) Question() string { return d.of.question }

// ResultKey names the score of a comparison in the JSON of results.
func (d Design) ResultKey() string { return d.of.resultKey }

// Labels returns the labels of the design, in the order of its keys.
func (d Design) Labels() []Label {
	var all []Label
	for _, p := range d.of.presentations {
		all = append(all, p.label)
	}
	return all
}

// Answers returns the answers of the design, in the order of its keys.
func (d Design) Answers() []Answer {
	var all []Answer
	for _, c := range d.of.answers {
		all = append(all, c.answer)
	}
	return all
}

// AnswerNames lists the answers for a message: "a or b".
func (d Design) AnswerNames() string {
	var names []string
	for _, a := range d.Answers() {
		names = append(names, a.String())
	}
	return strings.Join(names, " or ")
}

// Claim words an answer as what the listener says: "X is A". It is "" for an answer that is not of the design.
func (d Design) Claim(a Answer) string {
	if i := d.index(a); i >= 0 {
		return d.of.answers[i].claim
	}
	return ""
}

// Binding is what the full screen binds: its keys, and what the help says of them.
type Binding struct {
	Keys []string
	Help string
}

// PlayKeys returns the keys of the full screen that play, one a label in the order of Labels.
func (d Design) PlayKeys() []Binding {
	var all []Binding
	for _, p := range d.of.presentations {
		all = append(all, Binding{p.keys, p.help})
	}
	return all
}

// AnswerKeys returns the keys of the full screen that answer, one an answer in the order of Answers.
func (d Design) AnswerKeys() []Binding {
	var all []Binding
	for _, c := range d.of.answers {
		all = append(all, Binding{[]string{c.key}, c.help})
	}
	return all
}

// Dealt returns, of each assignment that may be hidden in a trial, the answer that is right: in the order in which a seed draws
// among them.
func (d Design) Dealt() []Answer {
	var all []Answer
	for _, a := range d.of.dealt {
		all = append(all, a.right)
	}
	return all
}

// Chance is the proportion correct of a listener who guesses.
func (d Design) Chance() float64 { return d.of.procedure.Chance() }

// Procedure is the model by which counts of right answers are scored.
func (d Design) Procedure() stats.Procedure { return d.of.procedure }

// Score returns what k correct of n trials say, under the name of the design. It is an error if the counts or the
// configuration are out of range.
func (d Design) Score(k, n int, cfg stats.ScoreConfig) (stats.Score, error) {
	cfg = d.Scored(cfg)
	return stats.ScoreChoice(cfg.Procedure, k, n, cfg)
}

// Scored returns the configuration by which counts of the design are scored, under its name.
func (d Design) Scored(cfg stats.ScoreConfig) stats.ScoreConfig {
	cfg.Procedure, cfg.Design = d.of.procedure, d.of.name
	return cfg
}

// ByRates reports whether hits against false alarms are tested rather than the count of right answers, which a habit of
// answering moves.
func (d Design) ByRates() bool { return d.of.byRates }

// index returns the place of an answer among those of the design, −1 where it is none of them.
func (d Design) index(a Answer) int {
	return slices.IndexFunc(d.of.answers, func(c choice) bool { return c.answer == a })
}

// heardFor reports whether what must be heard before an answer sounded for so many frames or more. heard counts the
// frames in the order of the design's labels.
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

// sound returns what sounds under a label of a trial with the given assignment; false where the design has no such label.
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
