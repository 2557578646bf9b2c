package main

import (
	"fmt"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/tone"
	"heardiff/trials/study"
)

var lowToneShown = byChannel[tone.LowToneResult, tone.LowToneChannel]{
	of:       study.LowTone,
	channels: func(r tone.LowToneResult) []tone.LowToneChannel { return r.Channel },
	limits:   func(c tone.LowToneChannel) []tone.Limit { return c.Limits },
	heading: func(r tone.LowToneResult) string {
		return fmt.Sprintf("dynamic range, %.1f s at %d Hz; residual below 0 dBFS, 20 Hz to 20 kHz", r.Seconds, r.RateHz)
	},
	words: func(c tone.LowToneChannel) string {
		return fmt.Sprintf("dynamic range %s, A-weighted %s", figure(c.DynamicRangeDB, "%.1f dB"), figure(c.DynamicRangeADB, "%.1f dB")) +
			standing(c.Limits, "dynamic_range_a_db")
	},
	tables: []channelTable[tone.LowToneChannel]{{
		columns: []string{"tone Hz", "level dBFS", "unweighted dB", "A dB", "CCIR-RMS dB"},
		rows: one(func(c tone.LowToneChannel) []string {
			return []string{figure(c.FrequencyHz, "%.4f"), figure(c.LevelDBFS, "%.2f"), figure(c.DynamicRangeDB, "%.2f"),
				figure(c.DynamicRangeADB, "%.2f"), figure(c.DynamicRangeCCIRDB, "%.2f")}
		}),
	}},
	title: func(captures string) string { return "Low tone through " + captures + ": the residual" },
	curve: func(c tone.LowToneChannel) plot.Curve {
		return densityCurve(c.Density, plot.Spur{Hz: c.FrequencyHz, Y: c.LevelDBFS})
	},
}.measured()
