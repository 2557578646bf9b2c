//go:build cgo && linux

package device

import "heardiff/playback/pcm"

// Probe asks the default device for a rate in stereo, without playing.
func Probe(rate pcm.Rate, resample bool) error {
	_, err := ask(rate, 2, resample)
	return err
}
