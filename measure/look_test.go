package measure_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
)

func played(t *testing.T, cfg signal.Config, gain, noise float64) pcm.Clip {
	t.Helper()
	if cfg.Seconds == 0 {
		cfg.Seconds = 3
	}
	cfg.Bits, cfg.Channels = 24, 1
	clip, err := signal.Make(cfg)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(5, 6))
	for _, x := range clip.Channels {
		for i := range x {
			x[i] = gain*x[i] + noise*random.NormFloat64()
		}
	}
	return clip
}

func TestALookRecognisesTheSignals(t *testing.T) {
	for _, rate := range []pcm.Rate{44100, 96000} {
		for name, c := range map[string]struct {
			clip pcm.Clip
			want measure.Content
			hz   []float64
		}{
			"jitter":       {played(t, signal.Config{Kind: signal.Jitter, Rate: rate}, 1, 1e-5), measure.SteadyTone, []float64{rate.Hz() / 4}},
			"tone":         {played(t, signal.Config{Kind: signal.Tone, Rate: rate}, 0.5, 1e-4), measure.SteadyTone, []float64{997}},
			"low tone":     {played(t, signal.Config{Kind: signal.LowTone, Rate: rate}, 0.8, 1e-5), measure.SteadyTone, []float64{997}},
			"two tones":    {played(t, signal.Config{Kind: signal.TwoTone, Rate: rate}, 0.8, 1e-5), measure.TwoTones, []float64{18000, 20000}},
			"low and high": {played(t, signal.Config{Kind: signal.TwoTone, Rate: rate, Pair: signal.LowPair}, 0.8, 1e-5), measure.TwoTones, []float64{60, 7000}},
			"sweep":        {played(t, signal.Config{Kind: signal.Sweep, Rate: rate, Seconds: 10}, 0.8, 1e-5), measure.RisingTone, nil},
			"dither":       {played(t, signal.Config{Kind: signal.Silence, Rate: rate}, 1, 0), measure.Quiet, nil},
			"noise":        {played(t, signal.Config{Kind: signal.Silence, Rate: rate}, 1, 1e-3), measure.Quiet, nil},
			"nothing":      {pcm.NewClip(rate, 2, 100000), measure.Quiet, nil},
			"words":        {played(t, signal.Config{Kind: signal.Integrity, Rate: rate}, 1, 0), measure.LoudNoise, nil},
			"pink noise":   {played(t, signal.Config{Kind: signal.Level, Rate: rate}, 1, 0), measure.Mixed, nil},
			"a tick":       {pcm.NewClip(rate, 2, 100), measure.Unclear, nil},
		} {
			l, err := measure.LookAt(c.clip)
			if err != nil {
				t.Fatal(err)
			}
			if l.Content != c.want {
				t.Errorf("%s at %d Hz holds %q", name, rate, l)
			}
			for i, hz := range c.hz {
				if i < len(l.Hz) && math.Abs(l.Hz[i]/hz-1) > 1e-3 {
					t.Errorf("%s at %d Hz: %v Hz, want %v", name, rate, l.Hz, c.hz)
				}
			}
		}
	}
}

// The signals are a quarter of 32 kHz and more for jitter, 997 Hz near full scale for distortion and at −60 dBFS for dynamic range, through
// chains that lose up to 20 dB.
func TestAToneIsForOneMeasurement(t *testing.T) {
	for _, c := range []struct {
		hz, dbfs                 float64
		jitter, harmonics, noise bool
	}{
		{8000, -3, true, false, false}, {24000, -23, true, false, false}, {8000, -60, false, false, false},
		{997, -1, false, true, false}, {3000, -21, false, true, false}, {997, -60, false, false, true}, {997, -80, false, false, true},
	} {
		l := measure.Look{Content: measure.SteadyTone, LevelDBFS: c.dbfs, Hz: []float64{c.hz}}
		if l.CarriesJitter() != c.jitter || l.ShowsHarmonics() != c.harmonics || l.ShowsDynamicRange() != c.noise {
			t.Errorf("%.0f Hz at %.0f dBFS: jitter %v, harmonics %v, dynamic range %v", c.hz, c.dbfs, l.CarriesJitter(), l.ShowsHarmonics(), l.ShowsDynamicRange())
		}
	}
}

// A chord that changes every second, and a tone in the second half of the second channel alone.
func TestALookTakesNoMusicForATone(t *testing.T) {
	const rate = 48000
	melody, late := pcm.NewClip(rate, 1, 10*rate), pcm.NewClip(rate, 2, 10*rate)
	for i := range melody.Channels[0] {
		s := float64(i) / rate
		hz := 220 * math.Pow(2, math.Mod(math.Floor(s)*7, 12)/12)
		melody.Channels[0][i] = 0.3 * math.Sin(2*math.Pi*hz*s)
		if s > 5 {
			late.Channels[1][i] = 0.3 * math.Sin(2*math.Pi*1000*s)
		}
	}
	if l, err := measure.LookAt(melody); err != nil || l.Content != measure.Mixed {
		t.Errorf("a melody holds %q, error %v", l, err)
	}
	l, err := measure.LookAt(late)
	if want := "a steady tone at 1000.0 Hz, −10.5 dBFS"; err != nil || l.String() != want {
		t.Errorf("a late tone holds %q, want %q, error %v", l, want, err)
	}
}
