package study

import (
	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/stats/warning"
	"heardiff/trials/link"
)

// TwoTone is measured from captures of two tones.
var TwoTone = Kind{
	Name: "two-tone", About: "intermodulation", Signal: signal.TwoTone, Holds: holdsOnly(measure.TwoTones),
	Measurement: Measured[tone.TwoToneResult]{
		Measure: plain(tone.TwoTone), Limited: limitedBy((*tone.TwoToneResult).SetFloor),
		Warnings: func(r *tone.TwoToneResult) *warning.Warnings { return &r.Warnings },
		metrics: []metric[tone.TwoToneResult]{
			worstOf(link.IMD, func(r tone.TwoToneResult) []tone.TwoToneChannel { return r.Channel }, imdFigure)},
	},
}

func imdFigure(c tone.TwoToneChannel) link.Figure { return read(c.IMDDB, c.Limits, "imd_db") }
