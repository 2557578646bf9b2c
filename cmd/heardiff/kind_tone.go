package main

import (
	"fmt"
	"slices"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/tone"
	"heardiff/trials/study"
)

var toneShown = byChannel[tone.Result, tone.Channel]{
	of:       study.Tone,
	channels: func(r tone.Result) []tone.Channel { return r.Channel },
	limits:   func(c tone.Channel) []tone.Limit { return c.Limits },
	heading: func(r tone.Result) string {
		return fmt.Sprintf("tone, %.1f s at %d Hz; ratios to the fundamental, 20 Hz to 20 kHz", r.Seconds, r.RateHz)
	},
	words: toneWords,
	tables: []channelTable[tone.Channel]{
		{columns: []string{"tone Hz", "level dBFS", "THD dB", "THD+N dB", "SINAD dB", "noise dB"}, rows: one(toneRow)},
		{columns: []string{"harmonic", "dBc", "noise limit dBc"}, rows: harmonicRows},
		lineTable("dBc", func(c tone.Channel) []tone.Line { return c.Hum }, func(c tone.Channel) []tone.Line { return c.Spurs },
			func(l tone.Line) (hz, db float64) { return l.Hz, l.DBC }),
	},
	title: func(captures string) string { return "Tone through " + captures + ": harmonics, hum and noise" },
	curve: toneCurve,
}.measured()

func toneWords(c tone.Channel) string {
	return fmt.Sprintf("%s at %s, THD+N %s", figure(c.FrequencyHz, "%.2f Hz"), figure(c.LevelDBFS, "%.2f dBFS"), figure(c.THDNDB, "%.1f dB")) +
		standing(c.Limits, "thd_n_db")
}

func toneRow(c tone.Channel) []string {
	return []string{figure(c.FrequencyHz, "%.4f"), figure(c.LevelDBFS, "%.3f"), atMost(c.THDDB, c.THDLimitDB, "%.2f"),
		figure(c.THDNDB, "%.2f"), figure(c.SINADDB, "%.2f"), figure(c.NoiseDB, "%.2f")}
}

func harmonicRows(c tone.Channel) (rows [][]string) {
	for _, h := range c.Harmonics {
		rows = append(rows, []string{fmt.Sprint(h.Order), atMost(h.DBC, h.LimitDBC, "%.1f"), figure(h.LimitDBC, "%.1f")})
	}
	return rows
}

func toneCurve(c tone.Channel) plot.Curve {
	curve := densityCurve(c.Density, plot.Spur{Hz: c.FrequencyHz, Y: c.LevelDBFS})
	for _, h := range c.Harmonics {
		if h.DBC > h.LimitDBC { // false where either is not known
			curve.Spurs = append(curve.Spurs, plot.Spur{Hz: float64(h.Order) * c.FrequencyHz, Y: c.LevelDBFS + h.DBC})
		}
	}
	for _, l := range slices.Concat(c.Hum, c.Spurs) {
		curve.Spurs = append(curve.Spurs, plot.Spur{Hz: l.Hz, Y: c.LevelDBFS + l.DBC})
	}
	return curve
}
