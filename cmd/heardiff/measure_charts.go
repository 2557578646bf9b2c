package main

import (
	"fmt"
	"strings"

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

// named is what was measured of one file, and the name it goes by in a picture.
type named[T any] struct {
	name   string
	result T
}

// titled returns the names of the captures for a title.
func titled[T any](captures []named[T]) string {
	var names []string
	for _, c := range captures {
		names = append(names, c.name)
	}
	return strings.Join(names, " and ")
}

// overlaid returns the curves of all captures, named by their files where there are several.
func overlaid[T any](captures []named[T], curves func(T) []plot.Curve) []plot.Curve {
	var list []plot.Curve
	for _, c := range captures {
		for _, curve := range curves(c.result) {
			if len(captures) > 1 {
				curve.Name = c.name + ", " + curve.Name
			}
			list = append(list, curve)
		}
	}
	return list
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

func toneChart(captures []named[tone.Result], floor *tone.Result) plot.Chart {
	chart := plot.Spectrum{Title: "Tone through " + titled(captures) + ": harmonics, hum and noise", Chains: overlaid(captures, toneCurves)}
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

func lowToneChart(captures []named[tone.LowToneResult], floor *tone.LowToneResult) plot.Chart {
	chart := plot.Spectrum{Title: "Low tone through " + titled(captures) + ": what stands beside it", Chains: overlaid(captures, lowToneCurves)}
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

func noiseChart(captures []named[tone.NoiseResult], floor *tone.NoiseResult) plot.Chart {
	chart := plot.Spectrum{Title: "Noise of " + titled(captures) + ": hum and other lines", Chains: overlaid(captures, noiseCurves)}
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

func twoToneChart(captures []named[tone.TwoToneResult], floor *tone.TwoToneResult) plot.Chart {
	chart := plot.Spectrum{Title: "Two tones through " + titled(captures) + ": intermodulation", Chains: overlaid(captures, twoToneCurves)}
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

func sweepChart(captures []named[tone.SweepResult], floor *tone.SweepResult) plot.Chart {
	chart := plot.Response{Title: "Response of " + titled(captures), Curves: overlaid(captures, sweepCurves)}
	if floor != nil {
		chart.Floor = floorOf(sweepCurves(*floor))
	}
	return chart
}
