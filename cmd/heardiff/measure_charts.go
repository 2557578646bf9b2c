package main

import (
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
)

// named is the result of one file, and its name in a picture.
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

// oneCurveEach draws chains with one curve each, by its name, and the set-up's below; a curve without points is left out.
func oneCurveEach[T any](title string, chains []named[T], floor *named[T], curve func(T) plot.Curve) (chart plot.Spectrum, any bool) {
	chart.Title = title
	for _, c := range chains {
		if drawn := curve(c.result); len(drawn.Hz) > 0 {
			drawn.Name = c.name
			chart.Chains = append(chart.Chains, drawn)
		}
	}
	if floor != nil {
		if drawn := curve(floor.result); len(drawn.Hz) > 0 {
			drawn.Name = floor.name
			chart.Floor = &drawn
		}
	}
	return chart, len(chart.Chains) > 0
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
