package main

import (
	"fmt"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/tone"
	"heardiff/trials/study"
)

var twoToneShown = byChannel[tone.TwoToneResult, tone.TwoToneChannel]{
	of:       study.TwoTone,
	channels: func(r tone.TwoToneResult) []tone.TwoToneChannel { return r.Channel },
	limits:   func(c tone.TwoToneChannel) []tone.Limit { return c.Limits },
	heading: func(r tone.TwoToneResult) string {
		return fmt.Sprintf("two tones, %.1f s at %d Hz", r.Seconds, r.RateHz)
	},
	words: func(c tone.TwoToneChannel) string {
		return fmt.Sprintf("intermodulation %s (%s)", figure(c.IMDDB, "%.1f dB"), c.Method) + standing(c.Limits, "imd_db")
	},
	tables: []channelTable[tone.TwoToneChannel]{
		{columns: []string{"low Hz", "high Hz", "low dBFS", "high dBFS", "method", "IMD dB", "2nd dB", "3rd dB"}, words: []int{4}, rows: one(twoToneRow)},
		{columns: []string{"product Hz", "order", "dBc", "noise limit dBc"}, rows: productRows},
	},
	title: func(captures string) string { return "Two tones through " + captures + ": intermodulation" },
	curve: twoToneCurve,
}.measured()

func twoToneRow(c tone.TwoToneChannel) []string {
	return []string{figure(c.LowHz, "%.3f"), figure(c.HighHz, "%.3f"), figure(c.LowDBFS, "%.2f"), figure(c.HighDBFS, "%.2f"),
		c.Method, atMost(c.IMDDB, c.IMDLimitDB, "%.2f"), figure(c.SecondOrderDB, "%.2f"), figure(c.ThirdOrderDB, "%.2f")}
}

func productRows(c tone.TwoToneChannel) (rows [][]string) {
	for _, p := range c.Products {
		rows = append(rows, []string{fmt.Sprintf("%.1f", p.Hz), fmt.Sprint(p.Order), atMost(p.DBC, p.LimitDBC, "%.1f"), figure(p.LimitDBC, "%.1f")})
	}
	return rows
}

func twoToneCurve(c tone.TwoToneChannel) plot.Curve {
	curve := densityCurve(c.Density, plot.Spur{Hz: c.LowHz, Y: c.LowDBFS}, plot.Spur{Hz: c.HighHz, Y: c.HighDBFS})
	for _, p := range c.Products {
		if p.DBC > p.LimitDBC {
			curve.Spurs = append(curve.Spurs, plot.Spur{Hz: p.Hz, Y: c.HighDBFS + p.DBC})
		}
	}
	return curve
}
