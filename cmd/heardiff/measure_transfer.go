package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"

	"heardiff/measure/jitter"
)

// measureTransfer prints how much of the jitter in one file another still shows, against jitter
// frequency, and draws it unless picture is "".
func (a *app) measureTransfer(ctx context.Context, referencePath, outputPath string, cfg jitter.Config, picture string) error {
	if err := cfg.Validate(); err != nil {
		return misused(err)
	}
	const hint = "record both captures with the same test signal, rate and channels"
	if err := a.recordedAlike(ctx, referencePath, outputPath, "a capture", hint); err != nil {
		return err
	}
	cfg.Spectrum = true
	reference, err := a.jitterOf(ctx, referencePath, cfg)
	if err != nil {
		return err
	}
	output, err := a.jitterOf(ctx, outputPath, cfg)
	if err != nil {
		return err
	}
	t, err := jitter.NewTransfer(reference, output)
	if err != nil {
		return rejected(err, hint)
	}
	if picture != "" {
		if err := a.writePicture(ctx, picture, transferChart(filepath.Base(referencePath), filepath.Base(outputPath), t)); err != nil {
			return err
		}
	}
	t.Warnings = append(t.Warnings, append(reference.Warnings, output.Warnings...)...)
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
