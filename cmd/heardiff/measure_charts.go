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
