package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/trials/link"
)

// measuredAs declares how captures of a kind are measured, with results of type T. It is a measurement.
type measuredAs[T any] struct {
	measure func(pcm.Reader, measureOptions) (T, error)
	// limited returns a result with the limits that one of the recording set-up alone sets.
	limited  func(result, floor T) (T, error)
	warnings func(*T) *measure.Warnings
	text     func(T) string
	words    func(T) string // the main figures of the first channel
	chart    func(captures []named[T], floor *named[T]) plot.Chart
	metrics  []metric[T]

	// What a kind may leave out.
	reference bool                                                                  // takes a signal through the same chain
	hint      func(error) string                                                    // of an error of measure; "" for none
	overlaid  func(first, other T) error                                            // refuses what cannot be drawn over first
	bare      func(*T)                                                              // drops what is only for pictures, unless --spectrum
	together  func(chains []named[T], floor *named[T]) (chart plot.Chart, any bool) // the report's picture
	between   func(a, b named[T]) (chart plot.Chart, any bool)                      // the report's picture of two chains
}

// metric is a figure of a result that "link" compares; false where the result does not hold it.
type metric[T any] struct {
	link.Declared
	of func(T) (link.Figure, bool)
}

// worstOf declares a metric that is read of each channel: the worst channel counts, whoever hears one hears it.
func worstOf[T, C any](m link.Metric, channels func(T) []C, figure func(C) link.Figure) metric[T] {
	return metric[T]{m.Declare(), func(r T) (link.Figure, bool) { return worstFigure(channels(r), figure), true }}
}

// file implements measurement. What is wrong with the floor or the overlay is warned of as well.
func (k measuredAs[T]) file(ctx context.Context, a *app, path string, m measureFlags, o measureOptions) error {
	if err := a.besides(ctx, path, m); err != nil {
		return err
	}
	if m.reference != "" {
		reference, err := a.open(ctx, m.reference)
		if err != nil {
			return err
		}
		defer reference.Close()
		o.reference = reference
	}
	spectrum := o.jitter.Spectrum
	o.jitter.Spectrum = spectrum || m.plot != ""
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
	print := writeText(path, result, k.text)
	return a.print(result, func(w io.Writer) {
		print(w)
		wrotePicture(w, m.plot)
	})
}

// floor reads a result against the recording set-up's own, where there is a file of it, and returns what was measured of that.
func (k measuredAs[T]) floor(ctx context.Context, a *app, result *T, path string, o measureOptions) (*named[T], error) {
	if path == "" {
		return nil, nil
	}
	limit, err := k.of(ctx, a, path, o)
	if err != nil {
		return nil, err
	}
	if *result, err = k.limited(*result, limit); err != nil {
		return nil, rejected(wrongFile(path, err), floorHint)
	}
	k.alsoOf(result, path, limit)
	return &named[T]{filepath.Base(path), limit}, nil
}

// draw writes the picture, with another capture over the first where one is asked for, whose warnings are added to the result's.
func (k measuredAs[T]) draw(ctx context.Context, a *app, first named[T], result *T, floor *named[T], m measureFlags, o measureOptions) error {
	captures := []named[T]{first}
	if m.overlay != "" {
		other, err := k.of(ctx, a, m.overlay, o)
		if err != nil {
			return err
		}
		if k.overlaid != nil {
			if err := k.overlaid(first.result, other); err != nil {
				return rejected(wrongFile(m.overlay, err), "draw captures of the same test signal over each other")
			}
		}
		k.alsoOf(result, m.overlay, other)
		captures = append(captures, named[T]{filepath.Base(m.overlay), other})
	}
	return a.writePicture(ctx, m.plot, k.chart(captures, floor))
}

// of measures one file; errors name it and are marked rejected.
func (k measuredAs[T]) of(ctx context.Context, a *app, path string, o measureOptions) (T, error) {
	var none T
	f, err := a.open(ctx, path)
	if err != nil {
		return none, err
	}
	defer f.Close()
	result, err := k.measure(a.watched(ctx, f, "measuring"), o)
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
	return none, rejected(wrongFile(path, err), hint)
}

// alsoOf adds the warnings about another file to those of result.
func (k measuredAs[T]) alsoOf(result *T, path string, other T) {
	for _, w := range k.warnings(&other).Details {
		k.warnings(result).Warn(w.From(filepath.Base(path)))
	}
}

// wrongFile names the file in an error; a nil err stays nil.
func wrongFile(path string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", path, err)
}

func (k measuredAs[T]) takesReference() bool { return k.reference }

func (k measuredAs[T]) capture(r pcm.Reader, o measureOptions) (any, error) { return k.measure(r, o) }

func (k measuredAs[T]) against(result any, floor []byte) (any, error) {
	limit, err := stored[T](floor)
	if err != nil {
		return nil, fmt.Errorf("stored measurement of the floor: %w", err)
	}
	return k.limited(result.(T), limit)
}

func (k measuredAs[T]) figuresOf(result any) string { return k.words(result.(T)) }

func (k measuredAs[T]) warningsIn(result any) []string {
	r := result.(T)
	return k.warnings(&r).Texts
}

func (k measuredAs[T]) declared() link.Metrics {
	var all link.Metrics
	for _, m := range k.metrics {
		all = append(all, m.Declared)
	}
	return all
}

func (k measuredAs[T]) read(result []byte, put func(link.Metric, link.Figure)) error {
	r, err := stored[T](result)
	if err != nil {
		return err
	}
	for _, m := range k.metrics {
		if figure, ok := m.of(r); ok {
			put(m.Metric, figure)
		}
	}
	return nil
}

func (k measuredAs[T]) drawn(chains []storedResult, floor *storedResult) (plot.Chart, bool, error) {
	if k.together == nil {
		return nil, false, nil
	}
	var all []named[T]
	for _, c := range chains {
		r, err := stored[T](c.data)
		if err != nil {
			return nil, false, err
		}
		all = append(all, named[T]{c.chain, r})
	}
	var below *named[T]
	if floor != nil {
		r, err := stored[T](floor.data)
		if err != nil {
			return nil, false, err
		}
		below = &named[T]{floor.chain, r}
	}
	chart, ok := k.together(all, below)
	return chart, ok, nil
}

func (k measuredAs[T]) beside(a, b storedResult) (plot.Chart, bool, error) {
	if k.between == nil {
		return nil, false, nil
	}
	one, err := stored[T](a.data)
	if err != nil {
		return nil, false, err
	}
	other, err := stored[T](b.data)
	if err != nil {
		return nil, false, err
	}
	chart, ok := k.between(named[T]{a.chain, one}, named[T]{b.chain, other})
	return chart, ok, nil
}

// stored reads a result as it is stored.
func stored[T any](data []byte) (T, error) {
	var r T
	err := wire.Unmarshal(data, &r)
	return r, err
}

// limitedBy makes a function that limits a copy of one that limits in place.
func limitedBy[T any](set func(*T, T) error) func(T, T) (T, error) {
	return func(result, floor T) (T, error) {
		err := set(&result, floor)
		return result, err
	}
}

// plain makes a measure function of one that needs no options.
func plain[T any](measure func(pcm.Reader) (T, error)) func(pcm.Reader, measureOptions) (T, error) {
	return func(r pcm.Reader, _ measureOptions) (T, error) { return measure(r) }
}
