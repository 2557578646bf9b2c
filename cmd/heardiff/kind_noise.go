package main

import (
	"fmt"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
	"heardiff/trials/link"
)

var noiseKind = kind{
	name: "noise", about: "noise of silence, hum, lines", signal: signal.Silence, holds: holdsOnly(measure.Quiet),
	measurement: measuredAs[tone.NoiseResult]{
		measure:  func(r pcm.Reader, o measureOptions) (tone.NoiseResult, error) { return tone.Noise(r, o.reference) },
		limited:  limitedBy((*tone.NoiseResult).SetFloor),
		warnings: func(r *tone.NoiseResult) *measure.Warnings { return &r.Warnings },
		text:     noiseText, words: noiseWords, chart: noiseChart, together: noiseOfChains, reference: true,
		metrics: []metric[tone.NoiseResult]{
			worstOf(link.Noise, func(r tone.NoiseResult) []tone.NoiseChannel { return r.Channel }, noiseFigure)},
	},
}

func noiseWords(r tone.NoiseResult) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("%s, A-weighted %s", figure(c.UnweightedDBFS, "%.1f dBFS"), figure(c.AWeightedDBFS, "%.1f dBFS")) +
		standing(c.Limits, "a_weighted_dbfs")
}

func noiseText(r tone.NoiseResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "noise, %.1f s at %d Hz; 20 Hz to 20 kHz\n\n", r.Seconds, r.RateHz)
	t := newTable("channel", "unweighted dBFS", "A dBFS", "CCIR-RMS dBFS", "DC", "to reference dB")
	t.right(0, 1, 2, 3, 4, 5)
	lines := newTable("channel", "kind", "Hz", "dBFS")
	lines.right(0, 2, 3)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		t.row(name, figure(c.UnweightedDBFS, "%.2f"), figure(c.AWeightedDBFS, "%.2f"), figure(c.CCIRRMSDBFS, "%.2f"),
			figure(c.DC, "%.1e"), figure(c.RelativeToReferenceDB, "%.2f"))
		for _, l := range c.Hum {
			lines.row(name, "hum", fmt.Sprintf("%.2f", l.Hz), figure(l.DBFS, "%.1f"))
		}
		for _, l := range c.Spurs {
			lines.row(name, "line", fmt.Sprintf("%.2f", l.Hz), figure(l.DBFS, "%.1f"))
		}
	}
	t.print(&b, "")
	lines.print(&b, "\n")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Texts)
	return b.String()
}

func noiseChart(captures []named[tone.NoiseResult], floor *named[tone.NoiseResult]) plot.Chart {
	chart := plot.Spectrum{Title: "Noise of " + titled(captures) + ": hum and other lines", Chains: overlaid(captures, noiseCurves)}
	if floor != nil {
		chart.Floor = floorOf(noiseCurves(floor.result))
	}
	return chart
}

// noiseOfChains draws the loudest channel of each chain.
func noiseOfChains(chains []named[tone.NoiseResult], floor *named[tone.NoiseResult]) (plot.Chart, bool) {
	chart := plot.Spectrum{Title: "Noise of the chains"}
	for _, c := range chains {
		if channel, ok := worstNoise(c.result); ok && len(channel.Spectrum) > 0 {
			chart.Chains = append(chart.Chains, noiseCurve(c.name, channel))
		}
	}
	if floor != nil {
		if channel, ok := worstNoise(floor.result); ok && len(channel.Spectrum) > 0 {
			curve := noiseCurve(floor.name, channel)
			chart.Floor = &curve
		}
	}
	return chart, len(chart.Chains) > 0
}

func noiseCurves(r tone.NoiseResult) []plot.Curve {
	var list []plot.Curve
	for _, c := range r.Channel {
		if len(c.Spectrum) > 0 { // none of digital silence
			list = append(list, noiseCurve(fmt.Sprintf("channel %d", c.Channel), c))
		}
	}
	return list
}

// worstNoise returns the loudest channel, A-weighted.
func worstNoise(r tone.NoiseResult) (tone.NoiseChannel, bool) {
	var found tone.NoiseChannel
	for i, c := range r.Channel {
		if i == 0 || c.AWeightedDBFS > found.AWeightedDBFS {
			found = c
		}
	}
	return found, len(r.Channel) > 0
}

func noiseCurve(name string, c tone.NoiseChannel) plot.Curve {
	curve := plot.Curve{Name: name}
	for _, d := range c.Spectrum {
		curve.Hz, curve.Y = append(curve.Hz, d.Hz), append(curve.Y, d.DBFS)
	}
	for _, l := range append(append([]tone.LevelLine(nil), c.Hum...), c.Spurs...) {
		curve.Spurs = append(curve.Spurs, plot.Spur{Hz: l.Hz, Y: l.DBFS})
	}
	return curve
}

func noiseFigure(c tone.NoiseChannel) link.Figure {
	return read(c.AWeightedDBFS, c.Limits, "a_weighted_dbfs")
}
