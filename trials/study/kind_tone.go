package study

import (
	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/stats/warning"
	"heardiff/trials/link"
)

// Tone is measured from captures of a tone.
var Tone = Kind{
	Name: "tone", About: "harmonics, THD+N, noise, hum", Signal: signal.Tone,
	Holds: measure.Look.ShowsHarmonics,
	Measurement: Measured[tone.Result]{
		Measure: plain(tone.Measure), Limited: limitedBy((*tone.Result).SetFloor),
		Warnings: func(r *tone.Result) *warning.Warnings { return &r.Warnings },
		metrics:  []metric[tone.Result]{worstOf(link.Hum, toneChannels, humFigure), worstOf(link.THDN, toneChannels, thdnFigure)},
	},
}

func thdnFigure(c tone.Channel) link.Figure { return read(c.THDNDB, c.Limits, "thd_n_db") }

func toneChannels(r tone.Result) []tone.Channel { return r.Channel }

// humFigure takes the strongest line of the mains series.
func humFigure(c tone.Channel) link.Figure {
	return read(tone.Strongest(c.Hum), c.Limits, tone.HumLimit)
}
