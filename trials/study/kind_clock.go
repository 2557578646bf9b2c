package study

import (
	"math"
	"slices"

	"heardiff/measure/clock"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	"heardiff/trials/link"
)

// Clock is measured from captures of the jitter signal, below the band in which jitter is.
var Clock = Kind{
	Name: "clock", About: "stability of the clock below 10 Hz, from the jitter signal: offset, drift, Allan deviation, TDEV, MTIE", From: Jitter.Name,
	Measurement: Measured[clock.Result]{
		Options: []string{"signal-rate"},
		Measure: func(r pcm.Reader, o MeasureOptions) (clock.Result, error) {
			return clock.Measure(r, clock.Config{SignalRateHz: o.Jitter.SignalRateHz})
		},
		Limited:  limitedBy((*clock.Result).SetFloor),
		Warnings: func(r *clock.Result) *warning.Warnings { return &r.Warnings },
		metrics: []metric[clock.Result]{
			atOneSecond(link.Declared{Metric: "allan_deviation_1_s_ppb", Name: "Allan deviation of the clock at 1 s", Unit: "ppb", Trended: true}, allanPPB),
			atOneSecond(link.Declared{Metric: "tdev_1_s_ns", Name: "TDEV of the clock at 1 s", Unit: "ns", Detail: true}, func(c clock.Channel) link.Figure { return intervalFigure(c.TDEV) }),
			atOneSecond(link.Declared{Metric: "mtie_1_s_ns", Name: "MTIE of the clock over 1 s", Unit: "ns", Detail: true}, func(c clock.Channel) link.Figure { return intervalFigure(c.MTIE) }),
		},
	},
}

// atOneSecond declares a metric of a clock over an observation time of 1 s; captures too short for one have none.
func atOneSecond(d link.Declared, figure func(clock.Channel) link.Figure) metric[clock.Result] {
	return metric[clock.Result]{d, func(r clock.Result) (link.Figure, bool) {
		f := worstFigure(r.Channel, figure)
		return f, !math.IsNaN(f.Value) || !math.IsNaN(f.Limit)
	}}
}

// allanPPB reads the Allan deviation at 1 s in parts per billion.
func allanPPB(c clock.Channel) link.Figure {
	i := slices.IndexFunc(c.Allan, func(d clock.Deviation) bool { return d.TauS == 1 })
	if i < 0 {
		return boundedFigure(math.NaN(), math.NaN(), false)
	}
	return boundedFigure(c.Allan[i].PPB(), c.Allan[i].LimitPPB(), c.Allan[i].AtFloor)
}

func intervalFigure(list []clock.Interval) link.Figure {
	i := slices.IndexFunc(list, func(d clock.Interval) bool { return d.TauS == 1 })
	if i < 0 {
		return boundedFigure(math.NaN(), math.NaN(), false)
	}
	return boundedFigure(list[i].NS, list[i].LimitNS, list[i].AtFloor)
}

// boundedFigure makes a bound of a value at the floor: the larger of the two.
func boundedFigure(value, limit float64, atFloor bool) link.Figure {
	if atFloor {
		return link.Figure{Value: math.NaN(), Limit: math.Max(value, limit)}
	}
	return link.Figure{Value: value, Limit: limit}
}
