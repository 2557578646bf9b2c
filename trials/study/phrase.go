package study

import (
	"errors"
	"fmt"
	"strings"
)

// Phrase is a sentence for people that may name options and calls of this package. As a string it names them as Go does; a program with
// names of its own for them (flags, commands, keys) has it in its own Vocabulary.
type Phrase struct {
	format string
	args   []any
}

// Vocabulary holds the names under which the users of a program know options and calls.
type Vocabulary interface {
	Option(Option) string
	Call(Call) string
}

// phrasef makes a phrase. Options and calls among its arguments are formatted by %v.
func phrasef(format string, args ...any) Phrase { return Phrase{format, args} }

// In returns the phrase in the words of a vocabulary.
func (p Phrase) In(v Vocabulary) string {
	named := make([]any, len(p.args))
	for i, arg := range p.args {
		switch a := arg.(type) {
		case Option:
			named[i] = v.Option(a)
		case Call:
			named[i] = v.Call(a)
		default:
			named[i] = arg
		}
	}
	return fmt.Sprintf(p.format, named...)
}

// String returns the phrase as a Go program reads it, "" for the zero Phrase.
func (p Phrase) String() string { return fmt.Sprintf(p.format, p.args...) }

// PhrasedError is an error that names options or calls.
type PhrasedError struct{ Phrase }

// Error implements error.
func (e *PhrasedError) Error() string { return e.String() }

// Unwrap lets errors.Is see the cause, where the phrase holds one.
func (e *PhrasedError) Unwrap() error {
	for _, arg := range e.args {
		if err, ok := arg.(error); ok {
			return err
		}
	}
	return nil
}

// inWords returns the text of err, with options and calls as the vocabulary names them.
func inWords(err error, v Vocabulary) string {
	var p *PhrasedError
	if !errors.As(err, &p) {
		return err.Error()
	}
	return strings.Replace(err.Error(), p.Error(), p.In(v), 1)
}

// Option is an option of a request, by the name of its field or argument in this package.
type Option string

// Options of requests.
const (
	OptionTitle Option = "Title"
	OptionDir   Option = "Dir"

	OptionName  Option = "Name" // of a chain or an excerpt
	OptionRole  Option = "Role"
	OptionAbout Option = "About"
	OptionCost  Option = "Cost"
	OptionAfter Option = "After"
	OptionWhy   Option = "Why"

	OptionChain   Option = "Chain"
	OptionFile    Option = "File"
	OptionKind    Option = "Kind"
	OptionMusic   Option = "Music"
	OptionSent    Option = "Sent"
	OptionCapture Option = "Capture" // its number
	OptionAgain   Option = "Again"

	OptionExcerpt Option = "Excerpt"
	OptionLength  Option = "Length"
	OptionOf      Option = "Of"
	OptionFrom    Option = "From"
	OptionTo      Option = "To"

	OptionPlan        Option = "Plan"
	OptionDesign      Option = "Design"
	OptionA           Option = "A"
	OptionB           Option = "B"
	OptionAlso        Option = "Also"
	OptionLadder      Option = "Ladder"
	OptionByHand      Option = "ByHand"
	OptionTrials      Option = "Trials"
	OptionPractice    Option = "Practice"
	OptionPositive    Option = "Positive"
	OptionNegative    Option = "Negative"
	OptionLayout      Option = "Layout"
	OptionOrder       Option = "Order"
	OptionStopping    Option = "Stopping"
	OptionBoundary    Option = "Boundary"
	OptionLooks       Option = "Looks"
	OptionAlpha       Option = "Alpha"
	OptionListeners   Option = "Listeners"
	OptionComparisons Option = "Comparisons"
	OptionThreshold   Option = "Threshold"
	OptionWithin      Option = "Within"
	OptionProcedure   Option = "Procedure"
	OptionTraining    Option = "Training"

	OptionListener   Option = "Listener"
	OptionGroup      Option = "Group"
	OptionHearing    Option = "Hearing"
	OptionTransducer Option = "Transducer"
	OptionRoom       Option = "Room"
	OptionConsent    Option = "Consent"

	OptionHead Option = "Head"
	OptionOut  Option = "Out" // the file to be written
)

// Action is something that can be done to or with a study, by the name of the function that does it.
type Action string

// What can be done.
const (
	ToCreate        Action = "Create"
	ToList          Action = "Study.Captures" // and the other lists of Readings
	ToAddChain      Action = "Study.AddChain"
	ToCorrectChain  Action = "Study.CorrectChain"
	ToRemoveChain   Action = "Study.RemoveChain"
	ToAddCapture    Action = "Study.AddCapture"
	ToRefileCapture Action = "Study.RefileCapture"
	ToRemoveCapture Action = "Study.RemoveCapture"
	ToMeasure       Action = "Study.Measure"
	ToCompare       Action = "match.Compare"
	ToPrepare       Action = "Study.Prepare"
	ToSuggest       Action = "Study.Suggest"
	ToPrepareLadder Action = "Study.PrepareLadder"
	ToRemoveExcerpt Action = "Study.RemoveExcerpt"
	ToPlan          Action = "Study.NewPlan"
	ToFindTrials    Action = "stats.TrialsFor"
	ToAddListener   Action = "Study.AddListener"
	ToSit           Action = "Study.Sit"
	ToReadResults   Action = "Study.Results"
	ToReport        Action = "Study.Link" // a page of what it returns
	ToVerify        Action = "Study.Verify"
	ToExport        Action = "Study.Export"
)

// Call is an action with the options that matter.
type Call struct {
	Do   Action
	With []Given
}

// Given is an option with its value, or with one that the caller is to choose.
type Given struct {
	Option Option
	Value  string
	Open   bool // to be chosen
}

// call makes a Call from pairs of an option and its value.
func call(do Action, with ...Given) Call { return Call{do, with} }

// with gives an option a value.
func with(o Option, value any) Given { return Given{Option: o, Value: fmt.Sprint(value)} }

// open leaves an option to the caller.
func open(o Option) Given { return Given{Option: o, Open: true} }

// String returns the call as a Go program reads it: the function, and its options in words.
func (c Call) String() string {
	if len(c.With) == 0 {
		return string(c.Do)
	}
	var options []string
	for _, g := range c.With {
		if g.Open {
			options = append(options, string(g.Option))
		} else {
			options = append(options, fmt.Sprintf("%s %q", g.Option, g.Value))
		}
	}
	return fmt.Sprintf("%s (%s)", c.Do, strings.Join(options, ", "))
}
