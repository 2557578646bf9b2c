package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/trials/study"
)

// kind is a kind that is measured, and how that is shown. What is measured of which capture, and what "link" compares, study.Kind declares;
// tables and pictures of its own are declared in a file here. Nothing else asks which kind one is.
type kind struct {
	study.Kind
	shown shown
}

// shown shows measurements, of any type of result.
type shown interface {
	// file measures a file as the command line says, draws and prints.
	file(ctx context.Context, a *app, path string, m measureFlags, o study.MeasureOptions) error
	takes(option string) bool // one of kindOptions
	draws() bool              // whether file can draw
	// figuresOf names the main figures of the first channel of a result.
	figuresOf(result any) string
	// drawn draws all chains in one picture, pairOf two chains in one; false where there is nothing to draw.
	drawn(chains []storedResult, floor *storedResult) (plot.Chart, bool, error)
	pairOf(a, b storedResult) (plot.Chart, bool, error)
}

// kinds returns the kinds that are measured, in the order in which they are listed. One without tables and pictures of its own is
// shown by its metrics.
func kinds() []kind {
	own := map[string]shown{
		study.Jitter.Name: jitterShown, study.Clock.Name: clockShown, study.Noise.Name: noiseShown, study.LowTone.Name: lowToneShown,
		study.Tone.Name: toneShown, study.TwoTone.Name: twoToneShown, study.Sweep.Name: sweepShown,
	}
	var all []kind
	for _, k := range study.MeasuredKinds() {
		show, ok := own[k.Name]
		if !ok {
			show = byMetrics(k)
		}
		all = append(all, kind{k, show})
	}
	return all
}

// kindNamed returns the kind of a name that is measured; false where there is none.
func kindNamed(name string) (kind, bool) {
	for _, k := range kinds() {
		if k.Name == name {
			return k, true
		}
	}
	return kind{}, false
}

// storedResult is the latest result of a chain, as it is stored.
type storedResult struct {
	chain string
	data  []byte
}

// kindsHelp writes one line a kind.
func kindsHelp(list []study.Kind) string {
	var b strings.Builder
	for _, k := range list {
		fmt.Fprintf(&b, "  %-10s %s\n", k.Name, k.About)
	}
	return b.String()
}

// completeKinds offers kinds, each with what it is about, to a shell that completes --as.
func completeKinds(c *cobra.Command, list []study.Kind) {
	var offered []cobra.Completion
	for _, k := range list {
		offered = append(offered, cobra.CompletionWithDesc(k.Name, k.About))
	}
	if err := c.RegisterFlagCompletionFunc("as", cobra.FixedCompletions(offered, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic("completion of --as: " + err.Error()) // the command has no such flag
	}
}
