package main

import (
	"fmt"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/trials/link"
)

var lowToneKind = kind{
	name: "low-tone", about: "dynamic range by a tone at −60 dBFS", signal: signal.LowTone, holds: measure.Look.ShowsDynamicRange,
	measurement: measuredAs[tone.LowToneResult]{
		measure: plain(tone.LowTone), limited: limitedBy((*tone.LowToneResult).SetFloor),
		warnings: func(r *tone.LowToneResult) *measure.Warnings { return &r.Warnings },
		text:     lowToneText, words: lowToneWords, chart: lowToneChart,
		metrics: []metric[tone.LowToneResult]{
			worstOf(link.NoiseUnderTone, func(r tone.LowToneResult) []tone.LowToneChannel { return r.Channel }, noiseUnderTone)},
	},
}

func lowToneWords(r tone.LowToneResult) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("dynamic range %s, A-weighted %s", figure(c.DynamicRangeDB, "%.1f dB"), figure(c.DynamicRangeADB, "%.1f dB")) +
		standing(c.Limits, "dynamic_range_a_db")
}

func lowToneText(r tone.LowToneResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "dynamic range, %.1f s at %d Hz; residual below 0 dBFS, 20 Hz to 20 kHz\n\n", r.Seconds, r.RateHz)
	t := newTable("channel", "tone Hz", "level dBFS", "unweighted dB", "A dB", "CCIR-RMS dB")
	t.right(0, 1, 2, 3, 4, 5)
	for _, c := range r.Channel {
		t.row(fmt.Sprint(c.Channel), figure(c.FrequencyHz, "%.4f"), figure(c.LevelDBFS, "%.2f"), figure(c.DynamicRangeDB, "%.2f"),
			figure(c.DynamicRangeADB, "%.2f"), figure(c.DynamicRangeCCIRDB, "%.2f"))
	}
	t.print(&b, "")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Texts)
	return b.String()
}

func lowToneChart(captures []named[tone.LowToneResult], floor *named[tone.LowToneResult]) plot.Chart {
	chart := plot.Spectrum{Title: "Low tone through " + titled(captures) + ": what stands beside it", Chains: overlaid(captures, lowToneCurves)}
	if floor != nil {
		chart.Floor = floorOf(lowToneCurves(floor.result))
	}
	return chart
}

func lowToneCurves(r tone.LowToneResult) []plot.Curve {
	var list []plot.Curve
	for _, c := range r.Channel {
		if len(c.Density) > 0 {
			curve := densityCurve(c.Channel, c.Density)
			curve.Spurs = []plot.Spur{{Hz: c.FrequencyHz, Y: c.LevelDBFS}}
			list = append(list, curve)
		}
	}
	return list
}

// noiseUnderTone turns a dynamic range, of which more is better, into the level it stands for.
func noiseUnderTone(c tone.LowToneChannel) link.Figure {
	turned := slices.Clone(c.Limits)
	for i := range turned {
		turned[i].Limit = -turned[i].Limit
	}
	return read(-c.DynamicRangeADB, turned, "dynamic_range_a_db")
}
