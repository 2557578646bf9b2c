package study

import (
	"slices"

	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/stats/warning"
	"heardiff/trials/link"
)

// LowTone is measured from captures of a tone at −60 dBFS.
var LowTone = Kind{
	Name: "low-tone", About: "dynamic range by a tone at −60 dBFS", Signal: signal.LowTone, Holds: measure.Look.ShowsDynamicRange,
	Measurement: Measured[tone.LowToneResult]{
		Measure: plain(tone.LowTone), Limited: limitedBy((*tone.LowToneResult).SetFloor),
		Warnings: func(r *tone.LowToneResult) *warning.Warnings { return &r.Warnings },
		metrics: []metric[tone.LowToneResult]{
			worstOf(link.NoiseUnderTone, func(r tone.LowToneResult) []tone.LowToneChannel { return r.Channel }, noiseUnderTone)},
	},
}

// noiseUnderTone turns a dynamic range, for which larger is better, into the level of that noise.
func noiseUnderTone(c tone.LowToneChannel) link.Figure {
	turned := slices.Clone(c.Limits)
	for i := range turned {
		turned[i].Limit = -turned[i].Limit
	}
	return read(-c.DynamicRangeADB, turned, "dynamic_range_a_db")
}
