package device

import (
	"strconv"
	"strings"

	"heardiff/playback"
	"heardiff/playback/pcm"
)

// describe reads ALSA's description of a way to a device, which lists its parts from the program's end to the
// device's: the last rate, format and channels are those nearest the device.
func describe(name, said string) playback.Opened {
	o, converter := playback.Opened{Name: name}, "an unnamed converter"
	for line := range strings.Lines(said) {
		key, value, _ := strings.Cut(line, ":")
		value = strings.TrimSpace(value)
		switch strings.TrimSpace(key) {
		case "rate":
			n, _ := strconv.Atoi(value)
			o.Rate = pcm.Rate(n)
		case "channels":
			o.Channels, _ = strconv.Atoi(value)
		case "format":
			o.Format = value
		case "Converter":
			converter = value
		}
	}
	if strings.Contains(said, "Rate conversion PCM") {
		o.Notes = append(o.Notes, "The audio is resampled on its way to the device, by "+converter+".")
	}
	if strings.HasPrefix(o.Format, "S16") {
		o.Notes = append(o.Notes, "The device takes 16-bit words: longer ones are cut without dither.")
	}
	if !strings.Contains(said, "Hardware PCM") {
		// Behind a sound service or plug-in nobody can see from here what reaches the converter.
		o.Notes = append(o.Notes, "The way does not end at hardware that can be seen from here: a sound service may mix, scale or resample. "+
			"Choose a device hw:… for a way without one.")
	}
	return o
}

// choice makes a Choice of a hint of the sound library; plays is false where it is none.
func choice(name, about, direction string) (c Choice, plays bool) {
	if name == "" || name == "null" || direction == "Input" {
		return Choice{}, false
	}
	return Choice{Name: name, About: strings.Join(strings.Fields(about), " "), Exclusive: strings.HasPrefix(name, "hw:")}, true
}
