package jitter

import "heardiff/playback/pcm"

// MeasureIn is Measure with shorter records, so that a test of many need not be long.
func MeasureIn(r pcm.Reader, cfg Config, samples int) (Result, error) {
	return measureIn(r, cfg, samples)
}

// Taper is the part of a record that is tapered.
const Taper = taper
