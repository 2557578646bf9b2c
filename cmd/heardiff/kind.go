package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure"
	"heardiff/measure/jitter"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
	"heardiff/trials/link"
)

// kind is a kind of capture, and what is measured of it. Lists, help, completion, dispatch, the study, the link and the report ask
// these values, each declared in a file of its own; nothing else asks which kind one is.
type kind struct {
	name string // of "--as", and in the study's record
	// about says in help what is measured; of captures that nothing is measured of, what they hold.
	about string
	// signal is what was played; Unset: no test signal.
	signal signal.Kind
	// from is the kind of capture that this one is measured from, "" its own.
	from string
	// piece: captures are of a named piece of music, which all chains record at one rate in the same channels.
	piece bool
	// sent: a capture is compared with the file that was sent when it is added, and never measured later.
	sent bool
	// holds reports whether a first look fits captures of the kind; nil: not asked.
	holds func(measure.Look) bool
	// measurement is nil where there is nothing to measure but what delivers reads.
	measurement measurement
	// delivers reads from a stored result whether the chain delivered the words that it was sent; nil: it says nothing of that.
	delivers func(result []byte) (bool, error)
}

// measurement is a measuring, of any type of result.
type measurement interface {
	// file measures a file as the command line says, draws and prints.
	file(ctx context.Context, a *app, path string, m measureFlags, o measureOptions) error
	takesReference() bool
	// capture measures a study's capture; against gives the result the limits that a stored one of the recording set-up sets.
	capture(r pcm.Reader, o measureOptions) (any, error)
	against(result any, floor []byte) (any, error)
	// figuresOf names the main figures of the first channel of a result, warningsIn what it warns of.
	figuresOf(result any) string
	warningsIn(result any) []string
	// declared are the metrics that "link" compares, read puts those of a stored result.
	declared() link.Metrics
	read(result []byte, put func(link.Metric, link.Figure)) error
	// drawn draws all chains in one picture, beside sets two chains beside each other; false where there is nothing to draw.
	drawn(chains []storedResult, floor *storedResult) (plot.Chart, bool, error)
	beside(a, b storedResult) (plot.Chart, bool, error)
}

// measureOptions is what the command line says of all captures.
type measureOptions struct {
	jitter    jitter.Config
	reference pcm.Reader // nil: none
}

// storedResult is the latest result of a chain, as it is stored.
type storedResult struct {
	chain string
	data  []byte
}

// kinds returns all kinds, in the order in which they are listed and their metrics printed.
func kinds() []kind {
	return []kind{musicKind, jitterKind, clockKind, noiseKind, lowToneKind, toneKind, twoToneKind, sweepKind, integrityKind}
}

// kindNamed returns the kind of a name; false where there is none.
func kindNamed(name string) (kind, bool) {
	all := kinds()
	i := slices.IndexFunc(all, func(k kind) bool { return k.name == name })
	if i < 0 {
		return kind{}, false
	}
	return all[i], true
}

// captureKind returns the kind that captures are filed under by its name or that of its signal.
func captureKind(name string) (kind, bool) {
	all := captureKinds()
	i := slices.IndexFunc(all, func(k kind) bool { return k.name == name || k.signal != signal.Unset && k.signal.String() == name })
	if i < 0 {
		return kind{}, false
	}
	return all[i], true
}

// captureKinds returns the kinds that captures are filed under.
func captureKinds() []kind {
	return slices.DeleteFunc(kinds(), func(k kind) bool { return k.from != "" })
}

// measuredKinds returns the kinds that a file or a study's capture can be measured as.
func measuredKinds() []kind {
	return slices.DeleteFunc(kinds(), func(k kind) bool { return k.measurement == nil })
}

// measuredFrom returns the kinds that are measured from captures of a kind, its own first.
func measuredFrom(capture string) []kind {
	all := slices.DeleteFunc(measuredKinds(), func(k kind) bool { return k.name != capture && k.from != capture })
	slices.SortStableFunc(all, func(a, b kind) int { return strings.Compare(a.from, b.from) })
	return all
}

// isPiece reports whether captures of a kind are of a piece of music.
func isPiece(name string) bool {
	k, _ := kindNamed(name)
	return k.piece
}

// isSent reports whether captures of a kind are compared, when they are added, with the file that was sent.
func isSent(name string) bool {
	k, _ := kindNamed(name)
	return k.sent
}

// studyMetrics returns the metrics that all kinds declare.
func studyMetrics() link.Metrics {
	var all link.Metrics
	for _, k := range measuredKinds() {
		all = append(all, k.measurement.declared()...)
	}
	return all
}

func namesOf(list []kind) []string {
	var names []string
	for _, k := range list {
		names = append(names, k.name)
	}
	return names
}

// alternatives writes names as "a, b or c".
func alternatives(names []string) string {
	last := len(names) - 1
	if last == 0 {
		return names[0]
	}
	return strings.Join(names[:last], ", ") + " or " + names[last]
}

// kindsHelp writes one line a kind.
func kindsHelp(list []kind) string {
	var b strings.Builder
	for _, k := range list {
		fmt.Fprintf(&b, "  %-10s %s\n", k.name, k.about)
	}
	return b.String()
}

// completeKinds offers kinds, each with what it is about, to a shell that completes --as.
func completeKinds(c *cobra.Command, list []kind) {
	var offered []cobra.Completion
	for _, k := range list {
		offered = append(offered, cobra.CompletionWithDesc(k.name, k.about))
	}
	if err := c.RegisterFlagCompletionFunc("as", cobra.FixedCompletions(offered, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic("completion of --as: " + err.Error()) // the flag is not there
	}
}

// holding returns the kinds of capture that a first look fits.
func holding(l measure.Look) []kind {
	return slices.DeleteFunc(captureKinds(), func(k kind) bool { return k.holds == nil || !k.holds(l) })
}

// misfit says what is odd about a capture of a kind that holds something else, "" where nothing is.
func (k kind) misfit(l measure.Look) string {
	if k.holds == nil || l.Content == measure.Unclear || k.holds(l) {
		return ""
	}
	if others := holding(l); len(others) > 0 {
		return fmt.Sprintf("it holds %v, which does not look like %s but like %s", l, k.name, alternatives(namesOf(others)))
	}
	return fmt.Sprintf("it holds %v, which does not look like %s", l, k.name)
}

// holdsOnly makes a holds of a content.
func holdsOnly(c measure.Content) func(measure.Look) bool {
	return func(l measure.Look) bool { return l.Content == c }
}
