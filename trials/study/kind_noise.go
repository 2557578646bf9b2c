package study

import (
	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	"heardiff/trials/link"
)

// Noise is measured from captures of silence.
var Noise = Kind{
	Name: "noise", About: "noise of silence, hum, lines", Signal: signal.Silence, Holds: holdsOnly(measure.Quiet),
	Measurement: Measured[tone.NoiseResult]{
		Measure:  func(r pcm.Reader, o MeasureOptions) (tone.NoiseResult, error) { return tone.Noise(r, o.Reference) },
		Limited:  limitedBy((*tone.NoiseResult).SetFloor),
		Warnings: func(r *tone.NoiseResult) *warning.Warnings { return &r.Warnings },
		Options:  []string{"reference"},
		metrics: []metric[tone.NoiseResult]{
			worstOf(link.Noise, func(r tone.NoiseResult) []tone.NoiseChannel { return r.Channel }, noiseFigure)},
	},
}

func noiseFigure(c tone.NoiseChannel) link.Figure {
	return read(c.AWeightedDBFS, c.Limits, "a_weighted_dbfs")
}
