package tone_test

import (
	"errors"
	"math"
	"testing"

	"heardiff/measure"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// captured is a tone of a level with noise and hum at a level of their own, in dBFS, and a second harmonic of so much of the
// tone's square.
type captured struct{ level, noise, hum, second float64 }

func (c captured) measure(t *testing.T) tone.Result {
	t.Helper()
	a := pcm.Ratio(c.level)
	r, err := tone.Measure(synth(48000, 4, pcm.RMSOf(c.noise), part{997, a, 0}, part{1994, c.second * a * a, 0}, part{50, pcm.Ratio(c.hum), 0}))
	must(t, err)
	return r
}

func limitNamed(t *testing.T, limits []tone.Limit, figure string) tone.Limit {
	t.Helper()
	for _, l := range limits {
		if l.Figure == figure {
			return l
		}
	}
	t.Fatalf("no limit of %s in %+v", figure, limits)
	return tone.Limit{}
}

// A floor recorded at another level: noise and hum keep their level in dBFS, and of the distortion no more is claimed than is known.
func TestAFloorAtAnotherLevelIsCarriedOver(t *testing.T) {
	for name, c := range map[string]struct {
		capture, floor captured
		want           map[string]string
	}{
		"a chain 8 dB noisier, the floor's tone 19 dB lower": {captured{-1, -110, -134, 1e-4}, captured{-20, -118, -135, 1e-4},
			map[string]string{"noise_db": "measured", "thd_db": "unknown", "thd_n_db": "unknown", "sinad_db": "unknown", "harmonics[0].dbc": "unknown", tone.HumLimit: "upper bound", "hum[0].dbc": "upper bound"}},
		"a chain 8 dB noisier, the floor's tone 19 dB higher": {captured{-20, -110, -130, 1e-4}, captured{-1, -118, -135, 1e-4},
			map[string]string{"noise_db": "measured", "thd_db": "unknown", "harmonics[0].dbc": "unknown", tone.HumLimit: "measured"}},
		"no noisier, the floor's tone 19 dB lower":            {captured{-1, -118, -135, 0}, captured{-20, -117, -134, 0}, map[string]string{"noise_db": "at floor", tone.HumLimit: "at floor"}},
		"no noisier, the floor's tone 19 dB higher":           {captured{-20, -118, -135, 0}, captured{-1, -117, -134, 0}, map[string]string{"noise_db": "at floor", tone.HumLimit: "at floor"}},
		"more distortion than a recorder can make of it":      {captured{-1, -118, -135, 1e-2}, captured{-4, -118, -135, 1e-4}, map[string]string{"harmonics[0].dbc": "measured", "thd_n_db": "measured"}},
		"more distortion, the floor's tone 3 dB higher":       {captured{-4, -118, -135, 1e-2}, captured{-1, -118, -135, 1e-4}, map[string]string{"harmonics[0].dbc": "measured", "thd_n_db": "measured"}},
		"levels alike: distortion is judged as it is to both": {captured{-1, -110, -135, 1.1e-3}, captured{-1.5, -118, -135, 1e-3}, map[string]string{"noise_db": "measured", "harmonics[0].dbc": "upper bound", "thd_db": "upper bound"}},
	} {
		r, floor := c.capture.measure(t), c.floor.measure(t)
		must(t, r.SetFloor(floor))
		standings(t, r.Channel[0].Limits, c.want)
		apart := c.floor.level - c.capture.level
		near(t, name+": limit of the noise", limitNamed(t, r.Channel[0].Limits, "noise_db").Limit, floor.Channel[0].NoiseDB+apart, 1e-4)
		if warned := r.Warned(measure.FloorLevel); warned != (math.Abs(apart) > 1) {
			t.Errorf("%s: warnings %q", name, r.Texts)
		}
	}
}

// The same of a pair of tones, whose products are all distortion, and of a sweep.
func TestAFloorOfAnotherLevelSaysLittleOfItsProducts(t *testing.T) {
	two := func(level, second float64) tone.TwoToneResult {
		a := pcm.Ratio(level) / 2
		r, err := tone.TwoTone(synth(48000, 4, 1e-6, part{18000, a, 0}, part{20000, a, 0}, part{2000, second * a * a, 0}))
		must(t, err)
		return r
	}
	for second, want := range map[float64]string{1e-4: "unknown", 1e-1: "measured"} {
		r := two(-1, second)
		must(t, r.SetFloor(two(-7, 1e-4)))
		standings(t, r.Channel[0].Limits, map[string]string{"second_order_db": want, "third_order_db": "at floor"}) // in the capture's own noise
		if !r.Warned(measure.FloorLevel) {
			t.Errorf("warnings %q", r.Texts)
		}
	}
	sweep := func(gain, second float64) tone.SweepResult {
		c := sweepAlone(t)
		for i, v := range c.Channels[0] {
			c.Channels[0][i] = gain*v + second*gain*gain*v*v
		}
		r := measureSweep(t, c)
		near(t, "level of the sweep", r.Channel[0].LevelDBFS, -6+pcm.DB(gain), 0.01)
		return r
	}
	for second, want := range map[float64]string{1e-4: "unknown", 1e-1: "measured"} {
		r := sweep(1, second)
		must(t, r.SetFloor(sweep(0.5, 1e-4)))
		standings(t, r.Channel[0].Limits, map[string]string{"harmonics[0].db": want})
	}
}

func TestAFloorRecordedOtherwiseIsRefused(t *testing.T) {
	mono, stereo := synth(48000, 4, 1e-5, part{997, .5, 0}), pcm.Clip{}
	stereo = pcm.Clip{Rate: mono.Rate, Channels: [][]float64{mono.Channels[0], mono.Channels[0]}}
	r, err := tone.Measure(stereo)
	must(t, err)
	for name, c := range map[string]pcm.Clip{
		"mono":         mono,
		"another rate": {Rate: 44100, Channels: stereo.Channels},
		"another tone": {Rate: 48000, Channels: [][]float64{synth(48000, 4, 1e-5, part{1100, .5, 0}).Channels[0], mono.Channels[0]}},
	} {
		floor, err := tone.Measure(c)
		must(t, err)
		if err := r.SetFloor(floor); !errors.Is(err, pcm.ErrMismatch) || len(r.Channel[0].Limits) != 0 {
			t.Errorf("%s: error %v, limits %v", name, err, r.Channel[0].Limits)
		}
	}
	noise := func(c pcm.Clip) tone.NoiseResult {
		r, err := tone.Noise(c, nil)
		must(t, err)
		return r
	}
	quiet := noise(synth(48000, 2, 1e-5))
	for _, rate := range []pcm.Rate{44100, 96000} {
		if err := quiet.SetFloor(noise(synth(rate, 2, 1e-5))); !errors.Is(err, pcm.ErrMismatch) {
			t.Errorf("noise at %d Hz under noise at 48000 Hz: error %v", rate, err)
		}
	}
}
