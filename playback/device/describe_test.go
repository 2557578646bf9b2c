package device

import (
	"strings"
	"testing"
)

// Output of snd_pcm_dump in alsa-lib 1.2.8 for a plug at 48 kHz before a 16-bit device fixed at 44.1 kHz, shortened.
const resampled = `Plug PCM: Linear Integer <-> Linear Float conversion PCM (S16_LE)
Its setup is:
  format       : FLOAT_LE
  channels     : 2
  rate         : 48000
Slave: Rate conversion PCM (44100, sformat=S16_LE)
Converter: linear-interpolation
Its setup is:
  format       : S16_LE
  channels     : 2
  rate         : 48000
  exact rate   : 48000 (48000/1)
Slave: Null PCM
Its setup is:
  format       : S16_LE
  channels     : 2
  rate         : 44100
  exact rate   : 44100 (44100/1)
`

func TestTheRateOfTheDeviceItselfIsReported(t *testing.T) {
	o := describe("default", resampled)
	if o.Rate != 44100 || o.Format != "16-bit words" || o.Channels != 2 {
		t.Errorf("%+v", o)
	}
	notes := strings.Join(o.Notes, " ")
	for _, want := range []string{"resampled on its way to the device, by linear-interpolation", "without dither", "sound service"} {
		if !strings.Contains(notes, want) {
			t.Errorf("no word of %q in %q", want, notes)
		}
	}
}

func TestADeviceIsChosenByASmallConfiguration(t *testing.T) {
	for _, c := range []struct {
		name  string
		allow bool
		want  string // part of it
		bad   bool
	}{
		{name: "default", want: ""},
		{name: "hw:CARD=bench,DEV=1", want: `pcm { type hw card "bench" device "1" }`},
		{name: "hw:2", want: `pcm { type hw card "2" device "0" }`},
		{name: "hw:2,3", want: `rate 96000`},
		{name: "hw:2,3", allow: true, want: `plug slave.pcm "hw:2,3"`},
		{name: "studio", want: `pcm.!default "studio"`},
		{name: "hw:CARD=a,WHAT=1", want: `"WHAT=1" is unknown`, bad: true},
		{name: "a\"b", bad: true},
		{name: "a\nb", bad: true},
	} {
		got, err := configText(c.name, 96000, Config{AllowResample: c.allow})
		if err != nil {
			got = err.Error()
		}
		if (err != nil) != c.bad || !strings.Contains(got, c.want) {
			t.Errorf("%q: %q, %v", c.name, got, err)
		}
	}
}
