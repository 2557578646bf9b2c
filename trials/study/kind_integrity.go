package study

import (
	"heardiff/measure"
	"heardiff/measure/integrity"
	"heardiff/measure/signal"
)

// Integrity captures are digital, and compared with the file that was sent when they are added.
var Integrity = Kind{
	Name: "integrity", About: "whether every word that was sent came back", Signal: signal.Integrity, Sent: true, Holds: holdsOnly(measure.LoudNoise),
	delivers: func(result []byte) (bool, error) {
		r, err := Stored[integrity.Result](result)
		return r.BitPerfect, err
	},
}
