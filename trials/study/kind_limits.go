package study

import (
	"math"
	"slices"

	"heardiff/measure/tone"
	"heardiff/trials/link"
)

// read returns a figure in dB for which larger is worse, with the limit under the given JSON key. If it does not clearly exceed the figure
// of the recording set-up, only an upper bound is known: the larger of the two.
func read(value float64, limits []tone.Limit, key string) link.Figure {
	i := slices.IndexFunc(limits, func(l tone.Limit) bool { return l.Figure == key })
	if i < 0 || math.IsNaN(value) || math.IsNaN(limits[i].Limit) {
		return link.Figure{Value: value, Limit: math.NaN()}
	}
	if limits[i].Standing != tone.Measured {
		return link.Figure{Value: math.NaN(), Limit: math.Max(value, limits[i].Limit)}
	}
	return link.Figure{Value: value, Limit: limits[i].Limit}
}

// worstFigure returns the figure of the channel in which it is highest; where only a bound is known, the bound counts.
func worstFigure[T any](channels []T, figure func(T) link.Figure) link.Figure {
	size := func(f link.Figure) float64 {
		if math.IsNaN(f.Value) {
			return f.Limit
		}
		return f.Value
	}
	most := link.Figure{Value: math.NaN(), Limit: math.NaN()}
	for _, c := range channels {
		if f := figure(c); math.IsNaN(size(most)) || size(f) > size(most) {
			most = f
		}
	}
	return most
}
