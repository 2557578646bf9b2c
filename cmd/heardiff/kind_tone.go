package main

import (
	"fmt"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/trials/link"
)

var toneKind = kind{
	name: "tone", about: "harmonics, THD+N, noise, hum", signal: signal.Tone,
	holds: measure.Look.ShowsHarmonics,
	measurement: measuredAs[tone.Result]{
		measure: plain(tone.Measure), limited: limitedBy((*tone.Result).SetFloor),
		warnings: func(r *tone.Result) *measure.Warnings { return &r.Warnings },
		text:     toneText, words: toneWords, chart: toneChart,
		metrics: []metric[tone.Result]{worstOf(link.Hum, toneChannels, humFigure), worstOf(link.THDN, toneChannels, thdnFigure)},
	},
}

func toneChannels(r tone.Result) []tone.Channel { return r.Channel }

func toneWords(r tone.Result) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("%s at %s, THD+N %s", figure(c.FrequencyHz, "%.2f Hz"), figure(c.LevelDBFS, "%.2f dBFS"), figure(c.THDNDB, "%.1f dB")) +
		standing(c.Limits, "thd_n_db")
}

func toneText(r tone.Result) string {
	var b strings.Builder
	fmt.Fprintf(&b, "tone, %.1f s at %d Hz; ratios to the fundamental, 20 Hz to 20 kHz\n\n", r.Seconds, r.RateHz)
	t := newTable("channel", "tone Hz", "level dBFS", "THD dB", "THD+N dB", "SINAD dB", "noise dB")
	t.right(0, 1, 2, 3, 4, 5, 6)
	harmonics := newTable("channel", "harmonic", "dBc", "noise limit dBc")
	harmonics.right(0, 1, 2, 3)
	lines := newTable("channel", "kind", "Hz", "dBc")
	lines.right(0, 2, 3)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		t.row(name, figure(c.FrequencyHz, "%.4f"), figure(c.LevelDBFS, "%.3f"), atMost(c.THDDB, c.THDLimitDB, "%.2f"),
			figure(c.THDNDB, "%.2f"), figure(c.SINADDB, "%.2f"), figure(c.NoiseDB, "%.2f"))
		for _, h := range c.Harmonics {
			harmonics.row(name, fmt.Sprint(h.Order), atMost(h.DBC, h.LimitDBC, "%.1f"), figure(h.LimitDBC, "%.1f"))
		}
		for _, l := range c.Hum {
			lines.row(name, "hum", fmt.Sprintf("%.2f", l.Hz), figure(l.DBC, "%.1f"))
		}
		for _, l := range c.Spurs {
			lines.row(name, "line", fmt.Sprintf("%.2f", l.Hz), figure(l.DBC, "%.1f"))
		}
	}
	t.print(&b, "")
	harmonics.print(&b, "\n")
	lines.print(&b, "\n")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Texts)
	return b.String()
}

func toneChart(captures []named[tone.Result], floor *named[tone.Result]) plot.Chart {
	chart := plot.Spectrum{Title: "Tone through " + titled(captures) + ": harmonics, hum and noise", Chains: overlaid(captures, toneCurves)}
	if floor != nil {
		chart.Floor = floorOf(toneCurves(floor.result))
	}
	return chart
}

func toneCurves(r tone.Result) []plot.Curve {
	var list []plot.Curve
	for _, c := range r.Channel {
		if len(c.Density) == 0 {
			continue
		}
		curve := densityCurve(c.Channel, c.Density)
		put := func(hz, dbc float64) { curve.Spurs = append(curve.Spurs, plot.Spur{Hz: hz, Y: c.LevelDBFS + dbc}) }
		put(c.FrequencyHz, 0)
		for _, h := range c.Harmonics {
			if h.DBC > h.LimitDBC { // false where either is not known
				put(float64(h.Order)*c.FrequencyHz, h.DBC)
			}
		}
		for _, l := range append(append([]tone.Line(nil), c.Hum...), c.Spurs...) {
			put(l.Hz, l.DBC)
		}
		list = append(list, curve)
	}
	return list
}

func thdnFigure(c tone.Channel) link.Figure { return read(c.THDNDB, c.Limits, "thd_n_db") }

// humFigure takes the strongest line of the mains series.
func humFigure(c tone.Channel) link.Figure {
	return read(tone.Strongest(c.Hum), c.Limits, tone.HumLimit)
}
