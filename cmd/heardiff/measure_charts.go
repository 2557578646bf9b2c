package main

import (
	"fmt"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/tone"
)

// densityCurve returns a channel's noise for a chart.
func densityCurve(channel int, density []tone.DensityPoint) plot.Curve {
	curve := plot.Curve{Name: fmt.Sprintf("channel %d", channel)}
	for _, d := range density {
		curve.Hz, curve.Y = append(curve.Hz, d.Hz), append(curve.Y, d.DBFS)
	}
	return curve
}

// floorOf returns the first curve of the recording set-up's own chart, or nil without one.
func floorOf(curves []plot.Curve) *plot.Curve {
	if len(curves) == 0 {
		return nil
	}
	curves[0].Name = "the set-up alone"
	curves[0].Spurs = nil
	return &curves[0]
}

func toneCurves(r tone.Result) []plot.Curve {
	var list []plot.Curve
	for _, c := range r.Channel {
		if len(c.Density) == 0 {
			continue
		}
		curve := densityCurve(c.Channel, c.Density)
		put := func(hz, dbc float64) { curve.Spurs = append(curve.Spurs, plot.Spur{Hz: hz, Y: c.LevelDBFS + dbc}) }
		put(c.FrequencyHz, 0)
		for _, h := range c.Harmonics {
			if h.DBC > h.LimitDBC { // false where either is not known
				put(float64(h.Order)*c.FrequencyHz, h.DBC)
			}
		}
		for _, l := range append(append([]tone.Line(nil), c.Hum...), c.Spurs...) {
			put(l.Hz, l.DBC)
		}
		list = append(list, curve)
	}
	return list
}

func toneChart(name string, r tone.Result, floor *tone.Result) plot.Chart {
	chart := plot.Spectrum{Title: "Tone through " + name + ": harmonics, hum and noise", Chains: toneCurves(r)}
	if floor != nil {
		chart.Floor = floorOf(toneCurves(*floor))
	}
	return chart
}

func lowToneCurves(r tone.LowToneResult) []plot.Curve {
	var list []plot.Curve
	for _, c := range r.Channel {
		if len(c.Density) > 0 {
			curve := densityCurve(c.Channel, c.Density)
			curve.Spurs = []plot.Spur{{Hz: c.FrequencyHz, Y: c.LevelDBFS}}
			list = append(list, curve)
		}
	}
	return list
}

func lowToneChart(name string, r tone.LowToneResult, floor *tone.LowToneResult) plot.Chart {
	chart := plot.Spectrum{Title: "Low tone through " + name + ": what stands beside it", Chains: lowToneCurves(r)}
	if floor != nil {
		chart.Floor = floorOf(lowToneCurves(*floor))
	}
	return chart
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

func noiseChart(name string, r tone.NoiseResult, floor *tone.NoiseResult) plot.Chart {
	chart := plot.Spectrum{Title: "Noise of " + name + ": hum and other lines", Chains: noiseCurves(r)}
	if floor != nil {
		chart.Floor = floorOf(noiseCurves(*floor))
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

func twoToneChart(name string, r tone.TwoToneResult, floor *tone.TwoToneResult) plot.Chart {
	chart := plot.Spectrum{Title: "Two tones through " + name + ": intermodulation", Chains: twoToneCurves(r)}
	if floor != nil {
		chart.Floor = floorOf(twoToneCurves(*floor))
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

func sweepChart(name string, r tone.SweepResult, floor *tone.SweepResult) plot.Chart {
	chart := plot.Response{Title: "Response of " + name, Curves: sweepCurves(r)}
	if floor != nil {
		chart.Floor = floorOf(sweepCurves(*floor))
	}
	return chart
}
