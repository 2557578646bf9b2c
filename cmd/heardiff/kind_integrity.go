package main

import (
	"heardiff/measure"
	"heardiff/measure/integrity"
	"heardiff/measure/signal"
)

var integrityKind = kind{
	name: "integrity", about: "whether every word that was sent came back", signal: signal.Integrity, sent: true, holds: holdsOnly(measure.LoudNoise),
	delivers: func(result []byte) (bool, error) {
		r, err := stored[integrity.Result](result)
		return r.BitPerfect, err
	},
}
