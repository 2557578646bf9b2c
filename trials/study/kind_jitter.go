package study

import (
	"math"

	"heardiff/measure"
	"heardiff/measure/jitter"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	"heardiff/trials/link"
)

// Jitter is measured from captures of the jitter signal.
var Jitter = Kind{
	Name: "jitter", About: "timing error of a tone from 10 Hz on: random, lines, in ps", Signal: signal.Jitter, Holds: measure.Look.CarriesJitter,
	Measurement: jitterMeasured,
}

var jitterMeasured = Measured[jitter.Result]{
	Measure:  func(r pcm.Reader, o MeasureOptions) (jitter.Result, error) { return jitter.Measure(r, o.Jitter) },
	Options:  []string{"bits", "signal-rate", "band", "spectrum"},
	Limited:  jitter.Result.AgainstFloor,
	Warnings: func(r *jitter.Result) *warning.Warnings { return &r.Warnings },
	metrics: []metric[jitter.Result]{
		ofWorstJitter(link.RandomJitter, func(c jitter.Channel) (float64, float64, bool) { return c.RandomPs, c.RandomLimitPs, true }),
		ofWorstJitter(link.RandomJitterLow, randomFrom(10)),
		ofWorstJitter(link.RandomJitterMid, randomFrom(100)),
		ofWorstJitter(link.RandomJitterHigh, randomFrom(1000)),
		ofWorstJitter(link.DeterministicJitter, deterministicJitter),
		ofWorstJitter(link.WorstLine, func(c jitter.Channel) (float64, float64, bool) {
			peak, bound := c.WorstLine()
			return peak, bound, true
		}),
	},
}

// ofWorstJitter declares a metric of the channel with the most random jitter.
func ofWorstJitter(m link.Metric, of func(jitter.Channel) (value, limit float64, ok bool)) metric[jitter.Result] {
	return metric[jitter.Result]{m.Declare(), func(r jitter.Result) (link.Figure, bool) {
		c, ok := WorstJitter(r)
		if !ok {
			return link.Figure{}, false
		}
		value, limit, ok := of(c)
		return link.Figure{Value: value, Limit: limit}, ok
	}}
}

// randomFrom reads the band of random jitter that begins at a frequency.
func randomFrom(lowHz float64) func(jitter.Channel) (value, limit float64, ok bool) {
	return func(c jitter.Channel) (float64, float64, bool) {
		for _, b := range c.RandomBands {
			if b.LowHz == lowHz {
				return b.Ps, b.LimitPs, true
			}
		}
		return 0, 0, false
	}
}

func deterministicJitter(c jitter.Channel) (value, limit float64, ok bool) {
	if c.DeterministicAtFloor {
		return c.DeterministicPs, c.DeterministicLimitPs, true
	}
	return c.DeterministicPs, math.NaN(), true
}

// WorstJitter returns the channel with the most random jitter, one at the floor counting by its bound.
func WorstJitter(r jitter.Result) (jitter.Channel, bool) {
	most := math.Inf(-1)
	var found jitter.Channel
	for _, c := range r.Channel {
		size := c.RandomPs
		if math.IsNaN(size) {
			size = c.RandomLimitPs
		}
		if !(size <= most) {
			most, found = size, c
		}
	}
	return found, len(r.Channel) > 0
}
