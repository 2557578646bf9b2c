package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/trials/link"
)

var sweepKind = kind{
	name: "sweep", about: "response, and harmonics by frequency: 10 s at the least, 30 to 60 s for low ones", signal: signal.Sweep,
	holds: holdsOnly(measure.RisingTone),
	measurement: measuredAs[tone.SweepResult]{
		measure: plain(tone.Sweep), limited: limitedBy((*tone.SweepResult).SetFloor),
		warnings: func(r *tone.SweepResult) *measure.Warnings { return &r.Warnings },
		text:     sweepText, words: sweepWords, chart: sweepChart,
		metrics: []metric[tone.SweepResult]{worstOf(link.SecondHarmonic, sweepChannels, sweepHarmonic(2)), worstOf(link.ThirdHarmonic, sweepChannels, sweepHarmonic(3))},
	},
}

func sweepChannels(r tone.SweepResult) []tone.SweepChannel { return r.Channel }

func sweepWords(r tone.SweepResult) string {
	if len(r.Channel) == 0 || len(r.Channel[0].Harmonics) < 2 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("second harmonic %s, third %s", figure(c.Harmonics[0].DB, "%.1f dB"), figure(c.Harmonics[1].DB, "%.1f dB"))
}

func sweepText(r tone.SweepResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "sweep, %.1f s at %d Hz; 0 dB at 1 kHz\n\n", r.Seconds, r.RateHz)
	response := newTable("channel", "Hz", "dB")
	response.right(0, 1, 2)
	harmonics := newTable("channel", "harmonic", "dB", "limit dB")
	harmonics.right(0, 1, 2, 3)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		for i, p := range c.Response {
			if i%4 == 0 { // a third of an octave apart; all of them are in the JSON
				response.row(name, fmt.Sprintf("%.0f", p.Hz), figure(p.DB, "%.3f"))
			}
		}
		for _, h := range c.Harmonics {
			harmonics.row(name, fmt.Sprint(h.Order), atMost(h.DB, h.LimitDB, "%.1f"), figure(h.LimitDB, "%.1f"))
		}
	}
	response.print(&b, "")
	harmonics.print(&b, "\n")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Texts)
	return b.String()
}

func sweepChart(captures []named[tone.SweepResult], floor *named[tone.SweepResult]) plot.Chart {
	chart := plot.Response{Title: "Response of " + titled(captures), Curves: overlaid(captures, sweepCurves)}
	if floor != nil {
		chart.Floor = floorOf(sweepCurves(floor.result))
	}
	return chart
}

func sweepCurves(r tone.SweepResult) []plot.Curve {
	var list []plot.Curve
	for _, c := range r.Channel {
		if len(c.Response) == 0 {
			continue
		}
		curve := plot.Curve{Name: fmt.Sprintf("channel %d", c.Channel)}
		for _, p := range c.Response {
			curve.Hz, curve.Y = append(curve.Hz, p.Hz), append(curve.Y, p.DB)
		}
		list = append(list, curve)
	}
	return list
}

// sweepHarmonic reads the harmonic of an order over the whole sweep. Within 3 dB of its own limit it is a bound.
func sweepHarmonic(order int) func(tone.SweepChannel) link.Figure {
	return func(c tone.SweepChannel) link.Figure {
		i := slices.IndexFunc(c.Harmonics, func(h tone.SweepHarmonic) bool { return h.Order == order })
		if i < 0 {
			return link.Figure{Value: math.NaN(), Limit: math.NaN()}
		}
		h := c.Harmonics[i]
		if h.DB < h.LimitDB+3 {
			return link.Figure{Value: math.NaN(), Limit: math.Max(h.DB, h.LimitDB)}
		}
		return read(h.DB, c.Limits, fmt.Sprintf("harmonics[%d].db", i))
	}
}
