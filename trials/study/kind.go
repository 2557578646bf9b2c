package study

import (
	"fmt"
	"slices"
	"strings"

	"heardiff/measure"
	"heardiff/measure/jitter"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	"heardiff/trials"
	"heardiff/trials/link"
)

// Kind is a kind of capture, and what is measured of it. Lists, help, completion, dispatch, the study, the link and the report ask these
// values, each declared in a file of its own; no other code distinguishes kinds.
type Kind struct {
	Name string // in the study's record, and in CaptureOptions.Kind
	// About says, in help, what is measured; for captures of which nothing is measured, what they hold.
	About string
	// Signal is what was played; Unset: no test signal.
	Signal signal.Kind
	// From is the kind of capture that this one is measured from, "" for captures of its own kind.
	From string
	// Piece: captures are of a named piece of music, which all chains record at one rate in the same channels.
	Piece bool
	// Sent: a capture is compared with the file that was sent when it is added, and never measured later.
	Sent bool
	// Holds reports whether a first look fits captures of the kind; nil: not asked.
	Holds func(measure.Look) bool
	// Measurement is nil if nothing is measured, or only what delivers reads; otherwise it is a Measured of the type of the result.
	Measurement Measurer
	// delivers reads from a stored result whether the chain delivered the words that it was sent; nil: results do not say.
	delivers func(result []byte) (bool, error)
}

// Measurer measures, with any type of result.
type Measurer interface {
	// Capture measures a capture; Against gives the result the limits that a stored one of the recording set-up sets.
	Capture(r pcm.Reader, o MeasureOptions) (any, error)
	Against(result any, floor []byte) (any, error)
	// WarningsIn returns the warnings in a result.
	WarningsIn(result any) warning.Warnings
	// Declared returns the metrics that Link compares; Read passes those of a stored result to put.
	Declared() link.Metrics
	Read(result []byte, put func(link.Metric, link.Figure)) error
	// Any returns the same declaration for results of any type, which are held as pointers.
	Any() Measured[any]
}

// MeasureOptions says how captures are measured; the zero value is the usual way.
type MeasureOptions struct {
	Jitter    jitter.Config
	Reference pcm.Reader // noise: a signal through the same chain, nil: none
}

// Kinds returns all kinds, in the order in which they are listed and their metrics printed.
func Kinds() []Kind {
	return []Kind{Music, Jitter, Clock, Noise, LowTone, Tone, TwoTone, Sweep, Integrity}
}

// KindNamed returns the kind of a name; false where there is none.
func KindNamed(name string) (Kind, bool) {
	all := Kinds()
	i := slices.IndexFunc(all, func(k Kind) bool { return k.Name == name })
	if i < 0 {
		return Kind{}, false
	}
	return all[i], true
}

// captureKind returns the kind that captures are filed under by its name or that of its signal.
func captureKind(name string) (Kind, bool) {
	all := CaptureKinds()
	i := slices.IndexFunc(all, func(k Kind) bool { return k.Name == name || k.Signal != signal.Unset && k.Signal.String() == name })
	if i < 0 {
		return Kind{}, false
	}
	return all[i], true
}

// CaptureKinds returns the kinds that captures are filed under.
func CaptureKinds() []Kind {
	return slices.DeleteFunc(Kinds(), func(k Kind) bool { return k.From != "" })
}

// MeasuredKinds returns the kinds that a file or a study's capture can be measured as.
func MeasuredKinds() []Kind {
	return slices.DeleteFunc(Kinds(), func(k Kind) bool { return k.Measurement == nil })
}

// measuredFrom returns the kinds that are measured from captures of a kind, its own first.
func measuredFrom(capture string) []Kind {
	all := slices.DeleteFunc(MeasuredKinds(), func(k Kind) bool { return k.Name != capture && k.From != capture })
	slices.SortStableFunc(all, func(a, b Kind) int { return strings.Compare(a.From, b.From) })
	return all
}

// isPiece reports whether captures of a kind are of a piece of music.
func isPiece(name string) bool {
	k, _ := KindNamed(name)
	return k.Piece
}

// isSent reports whether captures of a kind are compared, when they are added, with the file that was sent.
func isSent(name string) bool {
	k, _ := KindNamed(name)
	return k.Sent
}

// Metrics returns the metrics that all kinds declare.
func Metrics() link.Metrics {
	var all link.Metrics
	for _, k := range MeasuredKinds() {
		all = append(all, k.Measurement.Declared()...)
	}
	return all
}

// NamesOf returns the names of kinds.
func NamesOf(list []Kind) []string {
	var names []string
	for _, k := range list {
		names = append(names, k.Name)
	}
	return names
}

// misfit says what is odd about a capture of a kind that holds something else, "" where nothing is.
func (k Kind) misfit(l measure.Look) string {
	if k.Holds == nil || l.Content == measure.Unclear || k.Holds(l) {
		return ""
	}
	others := slices.DeleteFunc(CaptureKinds(), func(k Kind) bool { return k.Holds == nil || !k.Holds(l) })
	if len(others) > 0 {
		return fmt.Sprintf("it holds %v, which does not look like %s but like %s", l, k.Name, trials.AnyOf(NamesOf(others)))
	}
	return fmt.Sprintf("it holds %v, which does not look like %s", l, k.Name)
}

// holdsOnly makes a Holds function from a content.
func holdsOnly(c measure.Content) func(measure.Look) bool {
	return func(l measure.Look) bool { return l.Content == c }
}
