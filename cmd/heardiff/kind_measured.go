package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/trials/study"
)

// measuredAs declares how measurements of a kind are shown, with results of type T. It is shown.
type measuredAs[T any] struct {
	study.Measured[T]
	text  func(T) string
	words func(T) string // the main figures of the first channel

	// What a kind may leave out.
	chart    func(captures []named[T], floor *named[T]) plot.Chart
	hint     func(error) string                                                    // of an error of measure; "" for none
	overlaid func(first, other T) error                                            // refuses what cannot be drawn over first
	bare     func(*T)                                                              // drops what is only for pictures, unless --spectrum
	together func(chains []named[T], floor *named[T]) (chart plot.Chart, any bool) // the report's picture
	between  func(a, b named[T]) (chart plot.Chart, any bool)                      // the report's picture of two chains
}

// file implements shown. What is wrong with the floor or the overlay is warned of as well.
func (k measuredAs[T]) file(ctx context.Context, a *app, path string, m measureFlags, o study.MeasureOptions) error {
	if err := a.checkCompanions(ctx, path, m); err != nil {
		return err
	}
	if m.reference != "" {
		reference, err := audiofile.Open(ctx, m.reference)
		if err != nil {
			return err
		}
		defer reference.Close()
		o.Reference = reference
	}
	spectrum := o.Jitter.Spectrum
	o.Jitter.Spectrum = spectrum || m.plot != ""
	result, err := k.of(ctx, a, path, o)
	if err != nil {
		return err
	}
	floor, err := k.floor(ctx, a, &result, m.floor, o)
	if err != nil {
		return err
	}
	if m.plot != "" {
		if err := k.draw(ctx, a, named[T]{filepath.Base(path), result}, &result, floor, m, o); err != nil {
			return err
		}
	}
	if !spectrum && k.bare != nil {
		k.bare(&result)
	}
	return a.print(result, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %s", printable.Text(path), k.text(result))
		wrotePicture(w, m.plot)
	})
}

// floor reads a result against the recording set-up's own, where there is a file of it, and returns what was measured of that.
func (k measuredAs[T]) floor(ctx context.Context, a *app, result *T, path string, o study.MeasureOptions) (*named[T], error) {
	if path == "" {
		return nil, nil
	}
	limit, err := k.of(ctx, a, path, o)
	if err != nil {
		return nil, err
	}
	if *result, err = k.Limited(*result, limit); err != nil {
		return nil, rejected(audiofile.Named(path, err), floorHint)
	}
	k.alsoOf(result, path, limit)
	return &named[T]{filepath.Base(path), limit}, nil
}

// draw writes the picture, with another capture over the first where one is asked for, whose warnings are added to the result's.
func (k measuredAs[T]) draw(ctx context.Context, a *app, first named[T], result *T, floor *named[T], m measureFlags, o study.MeasureOptions) error {
	captures := []named[T]{first}
	if m.overlay != "" {
		other, err := k.of(ctx, a, m.overlay, o)
		if err != nil {
			return err
		}
		if k.overlaid != nil {
			if err := k.overlaid(first.result, other); err != nil {
				return rejected(audiofile.Named(m.overlay, err), "draw captures of the same test signal over each other")
			}
		}
		k.alsoOf(result, m.overlay, other)
		captures = append(captures, named[T]{filepath.Base(m.overlay), other})
	}
	return a.writePicture(ctx, m.plot, k.chart(captures, floor))
}

// of measures one file; errors name it and are marked rejected.
func (k measuredAs[T]) of(ctx context.Context, a *app, path string, o study.MeasureOptions) (T, error) {
	var none T
	f, err := audiofile.Open(ctx, path)
	if err != nil {
		return none, err
	}
	defer f.Close()
	result, err := k.Measure(pcm.Until(ctx, f, a.progress("measuring")), o)
	if err == nil {
		return result, nil
	}
	if ctx.Err() != nil {
		return none, ctx.Err()
	}
	hint := "is this the capture of the signal for this measurement?"
	if k.hint != nil {
		hint = k.hint(err)
	}
	return none, rejected(audiofile.Named(path, err), hint)
}

// alsoOf adds the warnings about another file to those of result.
func (k measuredAs[T]) alsoOf(result *T, path string, other T) {
	for _, w := range k.Warnings(&other).Details {
		k.Warnings(result).Warn(w.From(filepath.Base(path)))
	}
}

func (k measuredAs[T]) takes(option string) bool { return slices.Contains(k.Options, option) }

func (k measuredAs[T]) draws() bool { return k.chart != nil }

func (k measuredAs[T]) figuresOf(result any) string { return k.words(result.(T)) }

func (k measuredAs[T]) drawn(chains []storedResult, floor *storedResult) (plot.Chart, bool, error) {
	if k.together == nil {
		return nil, false, nil
	}
	var all []named[T]
	for _, c := range chains {
		r, err := k.Stored(c.data)
		if err != nil {
			return nil, false, err
		}
		all = append(all, named[T]{c.chain, r})
	}
	var below *named[T]
	if floor != nil {
		r, err := k.Stored(floor.data)
		if err != nil {
			return nil, false, err
		}
		below = &named[T]{floor.chain, r}
	}
	chart, ok := k.together(all, below)
	return chart, ok, nil
}

func (k measuredAs[T]) pairOf(a, b storedResult) (plot.Chart, bool, error) {
	if k.between == nil {
		return nil, false, nil
	}
	one, err := k.Stored(a.data)
	if err != nil {
		return nil, false, err
	}
	other, err := k.Stored(b.data)
	if err != nil {
		return nil, false, err
	}
	chart, ok := k.between(named[T]{a.chain, one}, named[T]{b.chain, other})
	return chart, ok, nil
}

// measuredIn is what a study measures of a kind, with results of type T.
func measuredIn[T any](k study.Kind) study.Measured[T] { return k.Measurement.(study.Measured[T]) }
