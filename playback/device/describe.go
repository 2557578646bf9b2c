package device

import (
	"strconv"
	"strings"

	"heardiff/playback"
	"heardiff/playback/pcm"
)

// describe reads ALSA's description of the path to a device, which lists its stages from the program to the device: the
// last rate, format and channels are those nearest the device.
func describe(name, dump string) playback.Opened {
	o, converter := playback.Opened{Name: name}, "an unnamed converter"
	for line := range strings.Lines(dump) {
		key, value, _ := strings.Cut(line, ":")
		value = strings.TrimSpace(value)
		switch strings.TrimSpace(key) {
		case "rate":
			n, _ := strconv.Atoi(value)
			o.Rate = pcm.Rate(n)
		case "channels":
			o.Channels, _ = strconv.Atoi(value)
		case "format":
			o.Format = words(value)
		case "Converter":
			converter = value
		}
	}
	if strings.Contains(dump, "Rate conversion PCM") {
		o.Notes = append(o.Notes, "The audio is resampled on its way to the device, by "+converter+".")
	}
	if o.Format == words("S16_LE") {
		o.Notes = append(o.Notes, "The device takes 16-bit words: longer ones are cut without dither.")
	}
	if !strings.Contains(dump, "Hardware PCM") {
		// What a sound service or plug-in does with the audio is not visible from here.
		o.Notes = append(o.Notes, "The way does not end at hardware that can be seen from here: a sound service may mix, scale or resample. "+
			"Choose a device hw:… for a way without one.")
	}
	return o
}

// floatWords is how outputs without a device take their audio.
const floatWords = "32-bit float"

// words says in the listener's words what the sound library calls a format of samples.
func words(format string) string {
	switch format {
	case "FLOAT_LE", "FLOAT_BE":
		return floatWords
	case "S16_LE", "S16_BE":
		return "16-bit words"
	case "S24_LE", "S24_BE", "S24_3LE", "S24_3BE":
		return "24-bit words"
	case "S32_LE", "S32_BE":
		return "32-bit words"
	}
	return format
}

// choice turns a hint of the sound library into a Choice; plays is false for one that cannot play.
func choice(name, about, direction string) (c Choice, plays bool) {
	if name == "" || name == "null" || direction == "Input" {
		return Choice{}, false
	}
	return Choice{Name: name, About: strings.Join(strings.Fields(about), " "), Exclusive: strings.HasPrefix(name, "hw:")}, true
}
