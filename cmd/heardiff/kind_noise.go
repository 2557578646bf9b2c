package main

import (
	"fmt"
	"slices"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/tone"
	"heardiff/trials/study"
)

var noiseShown = byChannel[tone.NoiseResult, tone.NoiseChannel]{
	of:       study.Noise,
	channels: func(r tone.NoiseResult) []tone.NoiseChannel { return r.Channel },
	limits:   func(c tone.NoiseChannel) []tone.Limit { return c.Limits },
	heading: func(r tone.NoiseResult) string {
		return fmt.Sprintf("noise, %.1f s at %d Hz; 20 Hz to 20 kHz", r.Seconds, r.RateHz)
	},
	words: func(c tone.NoiseChannel) string {
		return fmt.Sprintf("%s, A-weighted %s", figure(c.UnweightedDBFS, "%.1f dBFS"), figure(c.AWeightedDBFS, "%.1f dBFS")) + standing(c.Limits, "a_weighted_dbfs")
	},
	tables: []channelTable[tone.NoiseChannel]{
		{columns: []string{"unweighted dBFS", "A dBFS", "CCIR-RMS dBFS", "DC", "to reference dB"}, rows: one(noiseRow)},
		lineTable("dBFS", func(c tone.NoiseChannel) []tone.LevelLine { return c.Hum }, func(c tone.NoiseChannel) []tone.LevelLine { return c.Spurs },
			func(l tone.LevelLine) (hz, db float64) { return l.Hz, l.DBFS }),
	},
	title: func(captures string) string { return "Noise of " + captures + ": hum and other lines" },
	curve: noiseCurve,
	together: func(chains []named[tone.NoiseResult], floor *named[tone.NoiseResult]) (plot.Chart, bool) { // the loudest channel of each chain
		return oneCurveEach("Noise of the chains", chains, floor, func(r tone.NoiseResult) plot.Curve { return noiseCurve(worstNoise(r)) })
	},
}.measured()

func noiseRow(c tone.NoiseChannel) []string {
	return []string{figure(c.UnweightedDBFS, "%.2f"), figure(c.AWeightedDBFS, "%.2f"), figure(c.CCIRRMSDBFS, "%.2f"),
		figure(c.DC, "%.1e"), figure(c.RelativeToReferenceDB, "%.2f")}
}

// noiseCurve draws a channel; of digital silence there are no points.
func noiseCurve(c tone.NoiseChannel) plot.Curve {
	curve := densityCurve(c.Spectrum)
	for _, l := range slices.Concat(c.Hum, c.Spurs) {
		curve.Spurs = append(curve.Spurs, plot.Spur{Hz: l.Hz, Y: l.DBFS})
	}
	return curve
}

// worstNoise returns the loudest channel, A-weighted, a channel without points where there is none.
func worstNoise(r tone.NoiseResult) (found tone.NoiseChannel) {
	for i, c := range r.Channel {
		if i == 0 || c.AWeightedDBFS > found.AWeightedDBFS {
			found = c
		}
	}
	return found
}
