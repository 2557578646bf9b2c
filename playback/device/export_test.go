//go:build cgo && linux

package device

import "heardiff/playback/pcm"

// Probe opens the default device for a rate in stereo, without playing.
func Probe(rate pcm.Rate, resample bool) error {
	_, err := probe(rate, 2, resample)
	return err
}
