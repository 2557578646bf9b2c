package main

import (
	"fmt"
	"math"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/cmd/heardiff/internal/report"
	"heardiff/measure/jitter"
	"heardiff/measure/match"
	"heardiff/measure/tone"
)

// pictures returns what the report draws of the measurements.
func (l linked) pictures() report.Pictures {
	var p report.Pictures
	for _, c := range l.input.Chains {
		if channel, ok := worstJitter(l.figures.jitter[c.Name]); ok && len(channel.Spectrum) > 0 {
			put(&p.Jitter, &p.JitterFloor, c.Role, jitterCurve(c.Name, channel))
		}
		if channel, ok := worstNoise(l.figures.noise[c.Name]); ok && len(channel.Spectrum) > 0 {
			put(&p.Noise, &p.NoiseFloor, c.Role, noiseCurve(c.Name, channel))
		}
	}
	drawn := map[[2]string]bool{}
	for i, pair := range l.input.Pairings {
		r := l.compared[i]
		if pair.Treatment != "" {
			continue // what a dose changes is known; a picture of each would bury the chains' own
		}
		name := fmt.Sprintf("%s against %s", pair.A, pair.B)
		if len(r.ResponseBands) > 0 {
			p.Responses = append(p.Responses, responseCurve(name, r))
		}
		if len(r.NullBands) > 0 {
			p.Nulls = append(p.Nulls, nullChart(name, r))
		}
		chains := [2]string{pair.A, pair.B}
		if chart, ok := l.transfer(pair.A, pair.B); ok && !drawn[chains] {
			drawn[chains] = true
			p.Transfers = append(p.Transfers, chart)
		}
	}
	return p
}

// put adds a chain's curve, or keeps it as the floor.
func put(curves *[]plot.Curve, floor **plot.Curve, role string, c plot.Curve) {
	if role == "floor" {
		*floor = &c
		return
	}
	*curves = append(*curves, c)
}

// transfer draws how much of a chain's jitter another still shows, where both were measured and the first shows any.
func (l linked) transfer(a, b string) (plot.Transfer, bool) {
	reference, knownA := l.figures.jitter[a]
	output, knownB := l.figures.jitter[b]
	if !knownA || !knownB || a == b {
		return plot.Transfer{}, false
	}
	t, err := jitter.NewTransfer(reference, output)
	if err != nil { // bands that differ cannot be drawn; the figures stand in the tables
		return plot.Transfer{}, false
	}
	chart := transferChart(a, b, t)
	chart.Title = fmt.Sprintf("Jitter of %s over that of %s, channel %d", b, a, t.Channel[0].Channel)
	return chart, len(chart.Points) > 0
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

// jitterCurve returns a channel's jitter for a chart: the phase side's density as a curve, its lines as spurs.
func jitterCurve(name string, c jitter.Channel) plot.Curve {
	curve := plot.Curve{Name: name}
	for _, d := range c.Spectrum {
		curve.Hz, curve.Y = append(curve.Hz, d.OffsetHz), append(curve.Y, d.PMPs)
	}
	for _, l := range c.Lines {
		curve.Spurs = append(curve.Spurs, plot.Spur{Hz: l.OffsetHz, Y: l.PeakPs, Inherent: !l.Counts()})
	}
	return curve
}

func responseCurve(name string, r match.Result) plot.Curve {
	c := plot.Curve{Name: name}
	for _, b := range r.ResponseBands {
		c.Hz, c.Y = append(c.Hz, math.Sqrt(b.LowHz*b.HighHz)), append(c.Y, b.DB)
	}
	return c
}

func nullChart(name string, r match.Result) plot.Null {
	n := plot.Null{Title: "What is left of " + name + ", by octave"}
	for _, b := range r.NullBands {
		n.Bands = append(n.Bands, plot.NullBand{LowHz: b.LowHz, HighHz: b.HighHz, DB: b.DB})
	}
	return n
}
