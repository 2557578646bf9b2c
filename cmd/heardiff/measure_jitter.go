package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/measure/jitter"
)

// measureJitter measures the jitter of one file, against that of the recording set-up alone where a floor is given, and
// draws it where a picture is asked for.
func (a *app) measureJitter(ctx context.Context, path string, cfg jitter.Config, m measureFlags) error {
	if err := cfg.Validate(); err != nil {
		return misused(err)
	}
	if err := a.besides(ctx, path, m); err != nil {
		return err
	}
	wanted := cfg.Spectrum
	cfg.Spectrum = wanted || m.plot != ""
	r, err := a.jitterOf(ctx, path, cfg)
	if err != nil {
		return err
	}
	var floor *namedJitter
	if m.floor != "" {
		limit, err := a.jitterOf(ctx, m.floor, cfg)
		if err != nil {
			return err
		}
		floor = &namedJitter{filepath.Base(m.floor), limit}
		if r, err = r.AgainstFloor(limit); err != nil {
			return rejected(fmt.Errorf("%s: %w", m.floor, err), floorHint)
		}
		r.Warnings = append(r.Warnings, warningsOf(m.floor, limit.Warnings)...)
	}
	if m.plot != "" {
		warnings, err := a.plotJitter(ctx, namedJitter{filepath.Base(path), r}, floor, cfg, m)
		if err != nil {
			return err
		}
		r.Warnings = append(r.Warnings, warnings...)
	}
	if !wanted {
		for i := range r.Channel {
			r.Channel[i].Spectrum = nil
		}
	}
	return a.print(r, func(w io.Writer) {
		jitterText(w, path, r)
		wrotePicture(w, m.plot)
	})
}

// plotJitter draws what was measured, and over it another capture where one is asked for, and returns what is odd about that one.
func (a *app) plotJitter(ctx context.Context, first namedJitter, floor *namedJitter, cfg jitter.Config, m measureFlags) (warnings []string, err error) {
	captures := []namedJitter{first}
	if m.overlay != "" {
		other, err := a.jitterOf(ctx, m.overlay, cfg)
		if err != nil {
			return nil, err
		}
		if math.Abs(other.CarrierHz/first.result.CarrierHz-1) > 0.01 { // as AgainstFloor: beyond any clock
			return nil, rejected(fmt.Errorf("%s: a carrier of %.1f Hz over one of %.1f Hz: their jitter cannot be compared", m.overlay, other.CarrierHz, first.result.CarrierHz),
				"draw captures of the same test signal over each other")
		}
		warnings = warningsOf(m.overlay, other.Warnings)
		captures = append(captures, namedJitter{filepath.Base(m.overlay), other})
	}
	return warnings, a.writePicture(ctx, m.plot, jitterChart(captures, floor))
}

// jitterOf measures one file; errors name it and are marked rejected.
func (a *app) jitterOf(ctx context.Context, path string, cfg jitter.Config) (jitter.Result, error) {
	f, err := a.open(ctx, path)
	if err != nil {
		return jitter.Result{}, err
	}
	defer f.Close()
	r, err := jitter.Measure(a.watched(ctx, f, "measuring"), cfg)
	if err != nil {
		return jitter.Result{}, rejected(fmt.Errorf("%s: %w", path, err), jitterHint(err))
	}
	return r, nil
}

func jitterHint(err error) string {
	switch {
	case errors.Is(err, jitter.ErrNoTone):
		return `record the signal that "heardiff signal jitter" writes, or a steady tone`
	case errors.Is(err, jitter.ErrShort):
		return "record 30 to 60 seconds"
	}
	return ""
}

func jitterText(w io.Writer, path string, r jitter.Result) {
	fmt.Fprintf(w, "%s: %.3f Hz at %.2f dBFS, %.1f s, jitter from %.0f to %.0f Hz\n", printable.Text(path), r.CarrierHz, r.CarrierDBFS, r.Seconds, r.BandHz[0], r.BandHz[1])
	if !math.IsNaN(r.FrequencyOffsetPPM) {
		fmt.Fprintf(w, "clock of the chain against the recorder's: %+.2f ppm\n", r.FrequencyOffsetPPM)
	}
	sums := newTable("channel", "random ps rms", "± ps", "lines ps rms", "lines ps pp", "phase noise ps", "additive noise ps")
	sums.right(1, 2, 3, 4, 5, 6)
	bands := newTable("channel", "from Hz", "to Hz", "random ps rms", "± ps")
	bands.right(1, 2, 3, 4)
	lines := newTable("channel", "jitter at Hz", "peak ps", "± ps", "sideband dBc", "note")
	lines.right(1, 2, 3, 4)
	other := newTable("channel", "no jitter: Hz", "dBc", "± dB", "kind")
	other.right(1, 2, 3)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		random, se := boundedText(c.RandomPs, c.RandomSEPs, c.RandomLimitPs)
		lined, _ := boundedText(c.DeterministicPs, math.NaN(), c.DeterministicLimitPs)
		sums.row(name, random, se, lined, decimals(c.DeterministicPsPP), decimals(c.RawPs), decimals(c.AdditivePs))
		for _, b := range c.RandomBands {
			random, se := boundedText(b.Ps, b.SEPs, b.LimitPs)
			bands.row(name, fmt.Sprintf("%.0f", b.LowHz), fmt.Sprintf("%.0f", b.HighHz), random, se)
		}
		for _, l := range c.Lines {
			lines.row(name, fmt.Sprintf("%.2f", l.OffsetHz), decimals(l.PeakPs), decimals(l.PeakSEPs), figure(l.SidebandDBc, "%.1f"), lineNote(l))
		}
		for _, l := range c.AMLines {
			other.row(name, fmt.Sprintf("%.2f", l.OffsetHz), figure(l.DepthDBc, "%.1f"), fmt.Sprintf("%.2f", l.DepthSEDB), otherKind(l))
		}
	}
	sums.print(w, "\n")
	bands.print(w, "\n")
	lines.print(w, "\n")
	other.print(w, "\n")
	commonText(w, r.Common)
	warningsText(w, r.Warnings)
}

func commonText(w io.Writer, c *jitter.Common) {
	switch {
	case c == nil:
	case c.AtFloor:
		fmt.Fprintf(w, "\nrandom jitter common to channels 1 and 2: below %s ps rms\n", decimals(c.LimitPs))
	default:
		fmt.Fprintf(w, "\nrandom jitter common to channels 1 and 2: %s ± %s ps rms\n", decimals(c.RandomPs), decimals(c.SEPs))
	}
}

func warningsText(w io.Writer, warnings []string) {
	for i, s := range warnings {
		if i == 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "warning: %s\n", s)
	}
}

// boundedText writes a figure and its standard error, or the bound where it is at the floor.
func boundedText(ps, se, limit float64) (figure, plusMinus string) {
	if math.IsNaN(ps) {
		return "< " + decimals(limit), ""
	}
	return decimals(ps), decimals(se)
}

func lineNote(l jitter.Line) string {
	switch {
	case l.Inherent:
		return "the test signal's own, not counted"
	case l.AtFloor:
		return "at the floor, not counted"
	}
	return ""
}

func otherKind(l jitter.AMLine) string {
	switch l.OneSided {
	case -1:
		return "tone below the carrier"
	case 1:
		return "tone above the carrier"
	}
	return "amplitude modulation"
}
