// Package device plays a source: through the sound card, into a file, or to nothing at the pace of a sound card.
package device

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"heardiff/playback"
	"heardiff/playback/pcm"
)

// ErrNoSound is returned by builds without cgo, which cannot reach a sound card.
var ErrNoSound = errors.New("this build of heardiff has no sound device (it was built with CGO_ENABLED=0)")

// ErrResample is wrapped where a device does not run at the rate of the audio.
var ErrResample = errors.New("the device does not take the rate of the audio")

// Config says how a device is opened. Its zero value is the documented default.
type Config struct {
	// AllowResample accepts a device that has to resample; what sounds is then no longer exactly what was prepared.
	AllowResample bool
	// Buffer is the length of the device's buffer, DefaultBuffer unless set; a key takes effect one to two of these later.
	Buffer time.Duration
}

// DefaultBuffer is the default length of the device's buffer (common practice, no source).
const DefaultBuffer = 40 * time.Millisecond

// Choice is a device that can be chosen by name.
type Choice struct {
	Name  string `json:"name"`
	About string `json:"about"`
	// Exclusive is true where the audio goes to the hardware without a sound service in between.
	Exclusive bool `json:"exclusive"`
}

// Open opens the output that spec names and begins to pull from src:
// "default" or the name of a sound device, "file:PATH", or "null".
func Open(spec string, src playback.Source, c Config) (playback.Output, error) {
	if c.Buffer <= 0 {
		c.Buffer = DefaultBuffer
	}
	path, isFile := strings.CutPrefix(spec, "file:")
	switch {
	case isFile && path == "":
		return nil, errors.New("file: needs a path")
	case isFile:
		return openFile(path, src)
	case spec == "null":
		return openNull(src), nil
	case spec == "":
		spec = "default"
	}
	return openSound(spec, src, c)
}

// List returns the sound devices that Open accepts, besides file:PATH and null. It returns ErrNoSound in builds without
// a sound device.
func List() ([]Choice, error) { return listSound() }

// configText returns an ALSA configuration in which "default" is the named device, or "" where the machine's own
// configuration already says so. Hardware is named explicitly, with a fixed rate, so that ALSA rejects another rate
// instead of resampling and cannot fall back to another device.
func configText(name string, rate pcm.Rate, c Config) (string, error) {
	if name == "default" {
		return "", nil
	}
	if strings.ContainsAny(name, "\"\\\n") {
		return "", fmt.Errorf("%q is not the name of a device", name)
	}
	args, ok := strings.CutPrefix(name, "hw:")
	switch {
	case ok && c.AllowResample:
		// The converter's settings are in the machine's configuration.
		return fmt.Sprintf("</usr/share/alsa/alsa.conf>\npcm.!default { type plug slave.pcm %q }\n", name), nil
	case !ok:
		return fmt.Sprintf("</usr/share/alsa/alsa.conf>\npcm.!default %q\n", name), nil
	}
	card, dev := "", "0"
	for i, arg := range strings.Split(args, ",") {
		key, _, named := strings.Cut(arg, "=")
		switch {
		case !named && i == 0, key == "CARD":
			card = arg[strings.Index(arg, "=")+1:]
		case !named && i == 1, key == "DEV":
			dev = arg[strings.Index(arg, "=")+1:]
		default:
			return "", fmt.Errorf("%q: %q is unknown; a hardware name is hw:CARD=NAME,DEV=N", name, arg)
		}
	}
	return fmt.Sprintf("pcm.!default {\n\ttype plug\n\tslave {\n\t\tpcm { type hw card %q device %q }\n\t\trate %d\n\t}\n}\n", card, dev, rate), nil
}
