package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/jitter"
	"heardiff/trials"
	"heardiff/trials/study"
)

var jitterShown = measuredAs[jitter.Result]{
	Measured: measuredIn[jitter.Result](study.Jitter),
	text:     jitterText, words: jitterWords, chart: jitterChart,
	hint: jitterHint, overlaid: sameCarrier, bare: withoutSpectrum, together: jitterOfChains, between: jitterTransfer,
}

// sameCarrier refuses captures whose carriers differ by more than the error of a clock explains, as AgainstFloor does.
func sameCarrier(first, other jitter.Result) error {
	if other.OtherCarrier(first) {
		return fmt.Errorf("a carrier of %.1f Hz over one of %.1f Hz: their jitter cannot be compared", other.CarrierHz, first.CarrierHz)
	}
	return nil
}

func withoutSpectrum(r *jitter.Result) {
	for i := range r.Channel {
		r.Channel[i].Spectrum = nil
	}
}

// jitterOfChains draws of each chain the channel with the most random jitter.
func jitterOfChains(chains []named[jitter.Result], floor *named[jitter.Result]) (plot.Chart, bool) {
	chart, ok := oneCurveEach("Jitter of the chains", chains, floor, func(r jitter.Result) plot.Curve {
		worst, _ := study.WorstJitter(r)
		return jitterCurve(worst)
	})
	return plot.JitterSpectrum(chart), ok
}

// jitterTransfer draws how much of a's jitter b still shows.
func jitterTransfer(a, b named[jitter.Result]) (plot.Chart, bool) {
	t, err := jitter.NewTransfer(a.result, b.result)
	if err != nil { // bands that differ cannot be drawn; the figures are in the tables
		return nil, false
	}
	chart := transferChart(a.name, b.name, t)
	chart.Title = fmt.Sprintf("Jitter of %s over that of %s, channel %d", b.name, a.name, t.Channel[0].Channel)
	return chart, len(chart.Points) > 0
}

func jitterWords(r jitter.Result) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	random := quantity(c.RandomPs, "ps RMS")
	if c.RandomAtFloor {
		random = "at the floor, below " + quantity(c.RandomLimitPs, "ps RMS")
	}
	deterministic := "no lines"
	if n := counted(c.Lines); n > 0 || c.DeterministicPs > 0 {
		deterministic = fmt.Sprintf("deterministic %s in %s", quantity(c.DeterministicPs, "ps RMS"), trials.Counted(n, "line"))
	}
	if c.DeterministicAtFloor {
		deterministic = "deterministic at the floor, below " + quantity(c.DeterministicLimitPs, "ps RMS")
	}
	return fmt.Sprintf("random %s, %s", random, deterministic)
}

// counted returns how many lines are neither the test signal's own nor at the floor.
func counted(lines []jitter.Line) int {
	n := 0
	for _, l := range lines {
		if l.Counts() {
			n++
		}
	}
	return n
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

func jitterText(r jitter.Result) string {
	var b strings.Builder
	w := &b
	fmt.Fprintf(w, "%.3f Hz at %.2f dBFS, %.1f s, jitter from %.0f to %.0f Hz\n", r.CarrierHz, r.CarrierDBFS, r.Seconds, r.BandHz[0], r.BandHz[1])
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
	return b.String()
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

// jitterChart draws every channel that has a tone. Without a floor it shades what additive noise explains of the first.
func jitterChart(captures []named[jitter.Result], floor *named[jitter.Result]) plot.Chart {
	chart := plot.JitterSpectrum{Title: "Jitter of " + titled(captures)}
	for _, capture := range captures {
		for _, c := range capture.result.Channel {
			if len(c.Spectrum) > 0 {
				curve := jitterCurve(c)
				curve.Name = jitterName(capture, c)
				chart.Chains = append(chart.Chains, curve)
			}
		}
	}
	if floor != nil {
		chart.Floor = jitterFloor(*floor, func(d jitter.DensityBand) float64 { return d.PMPs })
		return chart
	}
	chart.Floor = jitterFloor(captures[0], func(d jitter.DensityBand) float64 { return d.AMPs })
	if chart.Floor != nil {
		chart.Floor.Name = "additive noise of " + chart.Floor.Name
	}
	return chart
}

func jitterName(n named[jitter.Result], c jitter.Channel) string {
	if len(n.result.Channel) == 1 {
		return n.name
	}
	return fmt.Sprintf("%s, channel %d", n.name, c.Channel)
}

// jitterFloor returns a density of the first channel that has a tone.
func jitterFloor(n named[jitter.Result], density func(jitter.DensityBand) float64) *plot.Curve {
	i := slices.IndexFunc(n.result.Channel, func(c jitter.Channel) bool { return len(c.Spectrum) > 0 })
	if i < 0 {
		return nil
	}
	c := n.result.Channel[i]
	curve := jitterDensity(c, density)
	curve.Name = jitterName(n, c)
	return &curve
}

func jitterDensity(c jitter.Channel, density func(jitter.DensityBand) float64) (curve plot.Curve) {
	for _, d := range c.Spectrum {
		curve.Hz, curve.Y = append(curve.Hz, d.OffsetHz), append(curve.Y, density(d))
	}
	return curve
}

// jitterCurve returns a channel's jitter for a chart: the phase side's density as a curve, its lines as spurs.
func jitterCurve(c jitter.Channel) plot.Curve {
	curve := jitterDensity(c, func(d jitter.DensityBand) float64 { return d.PMPs })
	for _, l := range c.Lines {
		curve.Spurs = append(curve.Spurs, plot.Spur{Hz: l.OffsetHz, Y: l.PeakPs, Inherent: !l.Counts()})
	}
	return curve
}
