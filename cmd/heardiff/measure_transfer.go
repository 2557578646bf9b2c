package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/jitter"
	"heardiff/trials/study"
)

// transferFiles are the captures of a transfer; floor may be "".
type transferFiles struct{ reference, output, floor string }

// againstFloor returns what was measured of both read against the recording set-up alone, if there is a file of it.
func (a *app) againstFloor(ctx context.Context, path, hint string, cfg jitter.Config, reference, output jitter.Result) (jitter.Result, jitter.Result, error) {
	if path == "" {
		return reference, output, nil
	}
	floor, err := jitterShown.of(ctx, a, path, study.MeasureOptions{Jitter: cfg})
	if err != nil {
		return reference, output, err
	}
	if reference, err = reference.AgainstFloor(floor); err != nil {
		return reference, output, rejected(err, hint)
	}
	output, err = output.AgainstFloor(floor)
	return reference, output, rejected(err, hint)
}

// measureTransfer prints how much of the jitter in one file another still shows, against jitter
// frequency, and draws it unless picture is "".
func (a *app) measureTransfer(ctx context.Context, files transferFiles, cfg jitter.Config, picture string) error {
	if err := cfg.Validate(); err != nil {
		return misused(err)
	}
	const hint = "record both captures with the same test signal, rate and channels"
	if err := a.recordedAlike(ctx, files.reference, files.output, "a capture", hint); err != nil {
		return err
	}
	if files.floor != "" {
		if err := a.recordedAlike(ctx, files.reference, files.floor, "the floor", hint); err != nil {
			return err
		}
	}
	cfg.Spectrum = true
	reference, err := jitterShown.of(ctx, a, files.reference, study.MeasureOptions{Jitter: cfg})
	if err != nil {
		return err
	}
	output, err := jitterShown.of(ctx, a, files.output, study.MeasureOptions{Jitter: cfg})
	if err != nil {
		return err
	}
	if reference, output, err = a.againstFloor(ctx, files.floor, hint, cfg, reference, output); err != nil {
		return err
	}
	t, err := jitter.NewTransfer(reference, output)
	if err != nil {
		return rejected(err, hint)
	}
	if picture != "" {
		if err := a.writePicture(ctx, picture, transferChart(filepath.Base(files.reference), filepath.Base(files.output), t)); err != nil {
			return err
		}
	}
	t.Warn(reference.Details...)
	t.Warn(output.Details...)
	return a.print(t, func(w io.Writer) {
		transferText(w, t)
		wrotePicture(w, picture)
	})
}

func transferText(w io.Writer, t jitter.Transfer) {
	lines := newTable("channel", "line at Hz", "reference ps", "output ps", "attenuation dB", "± dB")
	lines.right(1, 2, 3, 4, 5)
	density := newTable("channel", "noise at Hz", "attenuation dB", "± dB")
	density.right(1, 2, 3)
	for _, c := range t.Channel {
		name := fmt.Sprint(c.Channel)
		for _, l := range c.Lines {
			figure, se := attenuationText(l.AttenuationDB, l.AttenuationSE, l.AtLeast)
			lines.row(name, fmt.Sprintf("%.2f", l.OffsetHz), decimals(l.ReferencePs), decimals(l.OutputPs), figure, se)
		}
		for _, b := range c.Density {
			if math.IsNaN(b.AttenuationDB) {
				continue // the reference shows nothing there to attenuate
			}
			figure, se := attenuationText(b.AttenuationDB, b.AttenuationSE, b.AtLeast)
			density.row(name, fmt.Sprintf("%.1f", b.OffsetHz), figure, se)
		}
	}
	lines.print(w, "")
	density.print(w, "\n")
	warningsText(w, t.Warnings)
}

func attenuationText(db, se float64, atLeast bool) (figure, plusMinus string) {
	figure = decimals(db)
	if atLeast {
		figure = "> " + figure
	}
	if math.IsNaN(se) {
		return figure, ""
	}
	return figure, decimals(se)
}

// transferChart draws the first channel: what is left of its jitter, in dB.
func transferChart(reference, output string, t jitter.Transfer) plot.Transfer {
	c := t.Channel[0]
	chart := plot.Transfer{Title: fmt.Sprintf("Jitter of %s that %s still shows, channel %d", reference, output, c.Channel)}
	for _, l := range c.Lines {
		chart.Points = append(chart.Points, plot.TransferPoint{Hz: l.OffsetHz, DB: -l.AttenuationDB, Line: true, AtFloor: l.AtLeast})
	}
	for _, b := range c.Density {
		if !math.IsNaN(b.AttenuationDB) {
			chart.Points = append(chart.Points, plot.TransferPoint{Hz: b.OffsetHz, DB: -b.AttenuationDB, AtFloor: b.AtLeast})
		}
	}
	return chart
}
