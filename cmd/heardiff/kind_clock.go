package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/clock"
	"heardiff/trials/study"
)

var clockShown = measuredAs[clock.Result]{
	Measured: measuredIn[clock.Result](study.Clock),
	text:     clockText, words: clockWords, chart: clockChart, together: clocksOfChains,
}

func clockWords(r clock.Result) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	words := "offset " + figure(c.OffsetPPM, "%+.3f ppm")
	for _, d := range c.Allan {
		if d.TauS == 1 {
			words += ", Allan deviation at 1 s " + floored(d.Deviation, d.Limit, d.AtFloor, "%.1e")
		}
	}
	for _, d := range c.MTIE {
		if d.TauS == 1 {
			words += ", MTIE " + floored(d.NS, d.LimitNS, d.AtFloor, "%.3g ns")
		}
	}
	return words
}

// floored is figure, but writes a bound where the value is at the floor.
func floored(value, limit float64, atFloor bool, format string) string {
	if atFloor {
		return "< " + figure(math.Max(value, limit), format)
	}
	return figure(value, format)
}

func clockText(r clock.Result) string {
	var b strings.Builder
	fmt.Fprintf(&b, "clock, %.1f s of a carrier of %.4f Hz; the chain's against the recorder's, to %.0f Hz\n\n", r.Seconds, r.CarrierHz, r.BandwidthHz)
	sums := newTable("channel", "offset ppm", "drift ppm/s")
	sums.right(0, 1, 2)
	times := newTable("channel", "over s", "Allan deviation", "±", "TDEV ns", "MTIE ns")
	times.right(0, 1, 2, 3, 4, 5)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		sums.row(name, figure(c.OffsetPPM, "%+.4f"), figure(c.DriftPPMPerS, "%+.2e"))
		for i, d := range c.Allan {
			tdev, mtie := c.TDEV[i], c.MTIE[i]
			times.row(name, fmt.Sprintf("%g", d.TauS), floored(d.Deviation, d.Limit, d.AtFloor, "%.2e"), figure(d.SE, "%.0e"),
				floored(tdev.NS, tdev.LimitNS, tdev.AtFloor, "%.3g"), floored(mtie.NS, mtie.LimitNS, mtie.AtFloor, "%.3g"))
		}
	}
	sums.print(&b, "")
	times.print(&b, "\n")
	warningsText(&b, r.Warnings)
	return b.String()
}

// shownChannel returns the first channel that has a tone: one clock drives them all.
func shownChannel(r clock.Result) (clock.Channel, bool) {
	i := slices.IndexFunc(r.Channel, func(c clock.Channel) bool { return len(c.Allan) > 0 })
	if i < 0 {
		return clock.Channel{}, false
	}
	return r.Channel[i], true
}

func clockCurves(name string, c clock.Channel) plot.Clock {
	out := plot.Clock{Name: name}
	for _, d := range c.Allan {
		out.Allan = append(out.Allan, plot.StabilityPoint{TauS: d.TauS, Y: d.Deviation, SE: d.SE, AtFloor: d.AtFloor})
	}
	for _, d := range c.TDEV {
		out.TDEV = append(out.TDEV, plot.StabilityPoint{TauS: d.TauS, Y: d.NS, AtFloor: d.AtFloor})
	}
	for _, d := range c.MTIE {
		out.MTIE = append(out.MTIE, plot.StabilityPoint{TauS: d.TauS, Y: d.NS, AtFloor: d.AtFloor})
	}
	return out
}

// clockChart draws a channel of each capture. Without a floor it shades what additive noise explains of the first.
func clockChart(captures []named[clock.Result], floor *named[clock.Result]) plot.Chart {
	chart, _ := clocksOfChains(captures, floor)
	drawn := chart.(plot.Stability)
	drawn.Title = "Clock of " + titled(captures)
	if c, ok := shownChannel(captures[0].result); ok && floor == nil {
		drawn.LimitName = "additive noise of " + captures[0].name + " (the limit of what can be measured)"
		for _, d := range c.Allan {
			drawn.Limit = append(drawn.Limit, plot.StabilityPoint{TauS: d.TauS, Y: d.Limit})
		}
	}
	return drawn
}

func clocksOfChains(chains []named[clock.Result], floor *named[clock.Result]) (plot.Chart, bool) {
	chart := plot.Stability{Title: "Clocks of the chains, against the recorder's"}
	for _, one := range chains {
		if c, ok := shownChannel(one.result); ok {
			chart.Clocks = append(chart.Clocks, clockCurves(one.name, c))
		}
	}
	if floor != nil {
		if c, ok := shownChannel(floor.result); ok {
			chart.Limit, chart.LimitName = clockCurves("", c).Allan, floor.name+" (the limit of what can be measured)"
		}
	}
	return chart, len(chart.Clocks) > 0
}
