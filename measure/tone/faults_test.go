package tone_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"heardiff/measure"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// sines returns two channels of 24-bit words: sines of those frequencies and peaks, and each its own noise of an RMS.
func sines(seconds, noise float64, hz, peaks []float64) pcm.Clip {
	c := pcm.NewClip(48000, 2, int(48000*seconds))
	random := rand.New(rand.NewPCG(1, 2))
	for ch := range c.Channels {
		for i := range c.Len() {
			v := noise * random.NormFloat64()
			for k := range hz {
				v += peaks[k] * math.Sin(2*math.Pi*hz[k]*float64(i)/48000)
			}
			c.Channels[ch][i] = math.Round(v*8388608) / 8388608
		}
	}
	return c
}

const noise115 = 1.26e-6 // RMS of −115 dBFS

func warningsOf(kind string) func(pcm.Reader) (warning.Warnings, error) {
	return func(r pcm.Reader) (warning.Warnings, error) {
		switch kind {
		case "noise":
			x, err := tone.Noise(r, nil)
			return x.Warnings, err
		case "low tone":
			x, err := tone.LowTone(r)
			return x.Warnings, err
		case "two tones":
			x, err := tone.TwoTone(r)
			return x.Warnings, err
		}
		x, err := tone.Measure(r)
		return x.Warnings, err
	}
}

// What a recorder does wrong to each signal is named; the signals alone bring no warning.
func TestFaultsOfARecorderAreNamed(t *testing.T) {
	signals := map[string]pcm.Clip{
		"noise":     sines(6, noise115, nil, nil),
		"low tone":  sines(6, noise115, []float64{997}, []float64{1e-3}),
		"tone":      sines(6, noise115, []float64{997}, []float64{0.89}),
		"two tones": sines(6, noise115, []float64{41, 7993}, []float64{0.72, 0.18}), // the AES17 pair
	}
	for kind, clean := range signals {
		if w, err := warningsOf(kind)(clean); err != nil || len(w.Details) != 0 {
			t.Errorf("%s alone: %v, warnings %q, want none", kind, err, w.Texts)
		}
		for _, f := range []struct {
			name  string
			want  warning.Code
			spoil func(x []float64) []float64
		}{
			{"muted for 5 ms", tone.Muted, func(x []float64) []float64 { clear(x[100_001:100_241]); return x }},
			{"muted for 50 ms", tone.Muted, func(x []float64) []float64 { clear(x[100_001:102_401]); return x }},
			{"441 frames again", tone.RepeatedBlocks, func(x []float64) []float64 { return slices.Insert(x, 100_441, x[100_000:100_441]...) }},
			{"441 frames over the next", tone.RepeatedBlocks, func(x []float64) []float64 { copy(x[100_441:], x[100_000:100_441]); return x }},
		} {
			c := clean.Clone()
			for ch := range c.Channels {
				c.Channels[ch] = f.spoil(c.Channels[ch])
			}
			w, err := warningsOf(kind)(c)
			if err != nil || !w.Warned(f.want) {
				t.Errorf("%s, %s: %v, warnings %q, want %s", kind, f.name, err, w.Texts, f.want)
			}
		}
		mono := pcm.Clip{Rate: clean.Rate, Channels: [][]float64{clean.Channels[0], clean.Channels[0]}}
		if w, err := warningsOf(kind)(mono); err != nil || len(w.Details) != 1 || !w.Warned(measure.IdenticalChannels) {
			t.Errorf("%s, one channel in both: %v, warnings %q", kind, err, w.Texts)
		}
	}
}

// Undithered silence of few bits is zero for milliseconds at a time.
func TestPlainZerosAreNoFault(t *testing.T) {
	for _, hum := range []float64{3e-5, 9e-5} { // one step of 16 bits, and three
		c := sines(6, 2e-6, []float64{50}, []float64{hum})
		for ch := range c.Channels {
			for i, v := range c.Channels[ch] {
				c.Channels[ch][i] = math.Round(v*32768) / 32768
			}
		}
		r, err := tone.Noise(c, nil)
		if err != nil || r.Warned(tone.Muted) || r.Warned(tone.Dropouts) {
			t.Errorf("hum of %v: %v, warnings %q, want none of zeros", hum, err, r.Texts)
		}
	}
}

// A step of 0.3 dB, as a limiter makes, in tones 20 to 100 dB above their noise.
func TestALevelThatMovesIsNamed(t *testing.T) {
	for _, peak := range []float64{1e-3, 1e-2, 0.89} {
		c := sines(10, noise115, []float64{997}, []float64{peak})
		for ch := range c.Channels {
			for i := 200_000; i < c.Len(); i++ {
				c.Channels[ch][i] *= math.Pow(10, -0.3/20)
			}
		}
		kind := "tone"
		if peak < 0.1 {
			kind = "low tone"
		}
		w, err := warningsOf(kind)(c)
		if i := slices.IndexFunc(w.Details, func(d warning.Warning) bool { return d.Code == measure.LevelMoves }); err != nil || i < 0 || math.Abs(w.Details[i].Value-0.3) > 0.1 {
			t.Errorf("%s of %v: %v, warnings %q", kind, peak, err, w.Texts)
		}
	}
}

// A channel without the tone has no level to move, and noise 20 dB below a low tone is not taken for an automatic gain.
func TestNoiseIsNoMovingLevel(t *testing.T) {
	c := sines(20, noise115, []float64{997}, []float64{0.89})
	c.Channels[1] = sines(20, noise115, nil, nil).Channels[1]
	if w, err := warningsOf("tone")(c); err != nil || len(w.Details) != 1 || w.Details[0].Code != measure.NoSignal || w.Details[0].Channel != 2 {
		t.Errorf("%v, warnings %q, want that channel 2 has no tone, alone", err, w.Texts)
	}
	// A low tone 20 dB above its noise.
	if w, err := warningsOf("low tone")(sines(20, 7e-5, []float64{997}, []float64{1e-3})); err != nil || len(w.Details) != 0 {
		t.Errorf("noisy low tone: %v, warnings %q, want none", err, w.Texts)
	}
}

func TestOtherSignalsAndRatesAreNamed(t *testing.T) {
	for _, f := range []struct {
		kind      string
		want      warning.Code
		hz, peaks []float64
	}{
		{"tone", tone.JitterSignal, []float64{12000.2}, []float64{0.7}},
		{"two tones", tone.WrongRate, []float64{16537.5, 18375}, []float64{0.4, 0.4}}, // 18 and 20 kHz, 44.1 for 48 kHz
	} {
		w, err := warningsOf(f.kind)(sines(4, noise115, f.hz, f.peaks))
		if err != nil || len(w.Details) != 2 || w.Details[0].Code != f.want {
			t.Errorf("%s of %v Hz: %v, warnings %q, want %q of both channels", f.kind, f.hz, err, w.Texts, f.want)
		}
	}
}

// A tone that somebody meant to play brings no warning; one that a clock out of order, or another rate, makes of a usual one
// does.
func TestUsualTestTonesAreNoWrongClocks(t *testing.T) {
	for hz, want := range map[float64]warning.Code{
		997: "", 1000: "", 1000.2: "", 997.15: "", 440: "", 500: "", 998: "", 999: "", 1001: "", 1500: "", 2000: "", 3150: "", 1234.5: "",
		997.4: tone.OffFrequency, 999.6: tone.OffFrequency, 997 * 44100.0 / 48000: tone.WrongRate,
		1000 * 48000.0 / 44100: tone.WrongRate,
	} {
		w, err := warningsOf("tone")(sines(4, noise115, []float64{hz}, []float64{0.5}))
		if err != nil || (want == "") != (len(w.Details) == 0) || want != "" && w.Details[0].Code != want {
			t.Errorf("%v Hz: %v, warnings %q, want %q", hz, err, w.Texts, want)
		}
	}
}
