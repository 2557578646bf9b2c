package study

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/stats/warning"
	"heardiff/trials/link"
)

// Sweep is measured from captures of a sweep.
var Sweep = Kind{
	Name: "sweep", About: "response, and harmonics by frequency: 10 s at the least, 30 to 60 s for low ones", Signal: signal.Sweep,
	Holds: holdsOnly(measure.RisingTone),
	Measurement: Measured[tone.SweepResult]{
		Measure: plain(tone.Sweep), Limited: limitedBy((*tone.SweepResult).SetFloor),
		Warnings: func(r *tone.SweepResult) *warning.Warnings { return &r.Warnings },
		metrics:  []metric[tone.SweepResult]{worstOf(link.SecondHarmonic, sweepChannels, sweepHarmonic(2)), worstOf(link.ThirdHarmonic, sweepChannels, sweepHarmonic(3))},
	},
}

func sweepChannels(r tone.SweepResult) []tone.SweepChannel { return r.Channel }

// sweepHarmonic reads the harmonic of an order over the whole sweep.
func sweepHarmonic(order int) func(tone.SweepChannel) link.Figure {
	return func(c tone.SweepChannel) link.Figure {
		i := slices.IndexFunc(c.Harmonics, func(h tone.SweepHarmonic) bool { return h.Order == order })
		if i < 0 {
			return link.Figure{Value: math.NaN(), Limit: math.NaN()}
		}
		h := c.Harmonics[i]
		if bound, is := tone.Bound(h.DB, h.LimitDB); is {
			return link.Figure{Value: math.NaN(), Limit: bound}
		}
		return read(h.DB, c.Limits, fmt.Sprintf("harmonics[%d].db", i))
	}
}
