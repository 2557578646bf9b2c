package main

import (
	"heardiff/measure/integrity"
	"heardiff/measure/signal"
)

var integrityKind = kind{
	name: "integrity", about: "whether every word that was sent came back", signal: signal.Integrity, sent: true,
	delivers: func(result []byte) (bool, error) {
		r, err := stored[integrity.Result](result)
		return r.BitPerfect, err
	},
}
