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

var twoToneKind = kind{
	name: "two-tone", about: "intermodulation", signal: signal.TwoTone, holds: holdsOnly(measure.TwoTones),
	measurement: measuredAs[tone.TwoToneResult]{
		measure: plain(tone.TwoTone), limited: limitedBy((*tone.TwoToneResult).SetFloor),
		warnings: func(r *tone.TwoToneResult) *measure.Warnings { return &r.Warnings },
		text:     twoToneText, words: twoToneWords, chart: twoToneChart,
		metrics: []metric[tone.TwoToneResult]{
			worstOf(link.IMD, func(r tone.TwoToneResult) []tone.TwoToneChannel { return r.Channel }, imdFigure)},
	},
}

func twoToneWords(r tone.TwoToneResult) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("intermodulation %s (%s)", figure(c.IMDDB, "%.1f dB"), c.Method) + standing(c.Limits, "imd_db")
}

func twoToneText(r tone.TwoToneResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "two tones, %.1f s at %d Hz\n\n", r.Seconds, r.RateHz)
	t := newTable("channel", "low Hz", "high Hz", "low dBFS", "high dBFS", "method", "IMD dB", "2nd dB", "3rd dB")
	t.right(0, 1, 2, 3, 4, 6, 7, 8)
	products := newTable("channel", "product Hz", "order", "dBc", "noise limit dBc")
	products.right(0, 1, 2, 3, 4)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		t.row(name, figure(c.LowHz, "%.3f"), figure(c.HighHz, "%.3f"), figure(c.LowDBFS, "%.2f"), figure(c.HighDBFS, "%.2f"),
			c.Method, atMost(c.IMDDB, c.IMDLimitDB, "%.2f"), figure(c.SecondOrderDB, "%.2f"), figure(c.ThirdOrderDB, "%.2f"))
		for _, p := range c.Products {
			products.row(name, fmt.Sprintf("%.1f", p.Hz), fmt.Sprint(p.Order), atMost(p.DBC, p.LimitDBC, "%.1f"), figure(p.LimitDBC, "%.1f"))
		}
	}
	t.print(&b, "")
	products.print(&b, "\n")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Texts)
	return b.String()
}

func twoToneChart(captures []named[tone.TwoToneResult], floor *named[tone.TwoToneResult]) plot.Chart {
	chart := plot.Spectrum{Title: "Two tones through " + titled(captures) + ": intermodulation", Chains: overlaid(captures, twoToneCurves)}
	if floor != nil {
		chart.Floor = floorOf(twoToneCurves(floor.result))
	}
	return chart
}

func twoToneCurves(r tone.TwoToneResult) []plot.Curve {
	var list []plot.Curve
	for _, c := range r.Channel {
		if len(c.Density) == 0 {
			continue
		}
		curve := densityCurve(c.Channel, c.Density)
		curve.Spurs = []plot.Spur{{Hz: c.LowHz, Y: c.LowDBFS}, {Hz: c.HighHz, Y: c.HighDBFS}}
		for _, p := range c.Products {
			if p.DBC > p.LimitDBC {
				curve.Spurs = append(curve.Spurs, plot.Spur{Hz: p.Hz, Y: c.HighDBFS + p.DBC})
			}
		}
		list = append(list, curve)
	}
	return list
}

func imdFigure(c tone.TwoToneChannel) link.Figure { return read(c.IMDDB, c.Limits, "imd_db") }
