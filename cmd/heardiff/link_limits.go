package main

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure/tone"
	"heardiff/trials/link"
)

// read returns a figure in dB of which more is worse, with the limit of that JSON key. Where it does not stand clear of the
// recording set-up's own, it is only a bound of the chain's: the larger of the two.
func read(value float64, limits []tone.Limit, key string) link.Figure {
	i := slices.IndexFunc(limits, func(l tone.Limit) bool { return l.Figure == key })
	if i < 0 || math.IsNaN(value) || math.IsNaN(limits[i].Limit) {
		return link.Figure{Value: value, Limit: math.NaN()}
	}
	if limits[i].Standing != "measured" {
		return link.Figure{Value: math.NaN(), Limit: math.Max(value, limits[i].Limit)}
	}
	return link.Figure{Value: value, Limit: limits[i].Limit}
}

// worstFigure returns the figure of the channel that stands highest, by its bound where that is all there is.
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

func thdnFigure(c tone.Channel) link.Figure { return read(c.THDNDB, c.Limits, "thd_n_db") }

// humFigure takes the strongest line of the mains series.
func humFigure(c tone.Channel) link.Figure {
	return read(tone.Strongest(c.Hum), c.Limits, tone.HumLimit)
}

func noiseFigure(c tone.NoiseChannel) link.Figure {
	return read(c.AWeightedDBFS, c.Limits, "a_weighted_dbfs")
}

// noiseUnderTone turns a dynamic range, of which more is better, into the level it stands for.
func noiseUnderTone(c tone.LowToneChannel) link.Figure {
	turned := slices.Clone(c.Limits)
	for i := range turned {
		turned[i].Limit = -turned[i].Limit
	}
	return read(-c.DynamicRangeADB, turned, "dynamic_range_a_db")
}

func imdFigure(c tone.TwoToneChannel) link.Figure { return read(c.IMDDB, c.Limits, "imd_db") }

// sweepHarmonic reads the harmonic of an order over the whole sweep. Within 3 dB of its own limit it is a bound.
func sweepHarmonic(order int) func(tone.SweepChannel) link.Figure {
	return func(c tone.SweepChannel) link.Figure {
		i := slices.IndexFunc(c.Harmonics, func(h tone.SweepHarmonic) bool { return h.Order == order })
		if i < 0 {
			return link.Figure{Value: math.NaN(), Limit: math.NaN()}
		}
		h := c.Harmonics[i]
		if h.DB < h.LimitDB+3 {
			return link.Figure{Value: math.NaN(), Limit: math.Max(h.DB, h.LimitDB)}
		}
		return read(h.DB, c.Limits, fmt.Sprintf("harmonics[%d].db", i))
	}
}
