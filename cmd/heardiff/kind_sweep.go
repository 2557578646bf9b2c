package main

import (
	"fmt"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/tone"
	"heardiff/trials/study"
)

var sweepShown = byChannel[tone.SweepResult, tone.SweepChannel]{
	of:       study.Sweep,
	channels: func(r tone.SweepResult) []tone.SweepChannel { return r.Channel },
	limits:   func(c tone.SweepChannel) []tone.Limit { return c.Limits },
	heading: func(r tone.SweepResult) string {
		return fmt.Sprintf("sweep, %.1f s at %d Hz; 0 dB at 1 kHz", r.Seconds, r.RateHz)
	},
	words: sweepWords,
	tables: []channelTable[tone.SweepChannel]{
		{columns: []string{"Hz", "dB", "± dB"}, rows: responseRows},
		{columns: []string{"harmonic", "dB", "limit dB"}, rows: sweptHarmonicRows},
	},
	title: func(captures string) string { return "Response of " + captures },
	curve: func(c tone.SweepChannel) (curve plot.Curve) {
		for _, p := range c.Response {
			curve.Hz, curve.Y = append(curve.Hz, p.Hz), append(curve.Y, p.DB)
		}
		return curve
	},
	picture: func(title string, curves []plot.Curve, floor *plot.Curve) plot.Chart {
		return plot.Response{Title: title, Curves: curves, Floor: floor}
	},
}.measured()

func sweepWords(c tone.SweepChannel) string {
	if len(c.Harmonics) < 2 {
		return ""
	}
	second, third := c.Harmonics[0], c.Harmonics[1]
	return fmt.Sprintf("second harmonic %s, third %s", atMost(second.DB, second.LimitDB, "%.1f dB"), atMost(third.DB, third.LimitDB, "%.1f dB"))
}

// responseRows shows every fourth point, a third of an octave apart, with its standard error; all of them are in the JSON.
func responseRows(c tone.SweepChannel) (rows [][]string) {
	for i, p := range c.Response {
		if i%4 == 0 {
			rows = append(rows, []string{fmt.Sprintf("%.0f", p.Hz), atMost(p.DB, p.LimitDB, "%.3f"), figure(p.SEDB, "%.3f")})
		}
	}
	return rows
}

func sweptHarmonicRows(c tone.SweepChannel) (rows [][]string) {
	for _, h := range c.Harmonics {
		rows = append(rows, []string{fmt.Sprint(h.Order), atMost(h.DB, h.LimitDB, "%.1f"), figure(h.LimitDB, "%.1f")})
	}
	return rows
}
