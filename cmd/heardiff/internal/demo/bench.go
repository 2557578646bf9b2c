package demo

import (
	"context"
	"fmt"
	"math"

	"heardiff/measure/impair"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
)

// Line is one line of deterministic jitter.
type Line struct{ Hz, PeakPS float64 }

// Chain is an invented chain and its faults.
type Chain struct {
	Name, About, Role string
	After             string  // the chain that feeds it
	Cost              float64 // 0: none
	RandomPS          float64 // RMS, 10 Hz to 20 kHz
	Lines             []Line
	NoiseDBFS         float64
	HumDBFS           float64 // of 50 Hz; 0: none
	TrebleDB          float64 // shelf above about 5 kHz
	GainDB            float64
	DelaySamples      float64
	DriftPPM          float64
}

// The recorder of the invented bench: its own clock and noise are in every capture.
const (
	recorderRandomPS  = 14
	recorderNoiseDBFS = -117
)

// Bench returns the invented bench of a small radio station: five ways from one player into one converter, by the clock that times it,
// the recorder's own loop, and the converter through which the listeners hear the test. Neither station nor gear exists.
func Bench() []Chain {
	return []Chain{
		{Name: "hall", About: "the player on the clock in the hall", Role: "source", RandomPS: 38,
			Lines: []Line{{Hz: 100, PeakPS: 9}}, NoiseDBFS: -112, HumDBFS: -123, GainDB: -0.31, DelaySamples: 4411.37, DriftPPM: 2.7},
		{Name: "isolator", About: "the hall clock through a galvanic isolator", Role: "source", After: "hall", Cost: 60, RandomPS: 36,
			Lines: []Line{{Hz: 8000, PeakPS: 21}}, NoiseDBFS: -114, GainDB: -0.42, DelaySamples: 9120.81, DriftPPM: 2.6},
		{Name: "attic", About: "the clock in the attic, over a worn optical link", Role: "source", Cost: 15, RandomPS: 1900,
			Lines: []Line{{Hz: 187.5, PeakPS: 640}, {Hz: 1312, PeakPS: 220}}, NoiseDBFS: -112, GainDB: -0.18, DelaySamples: 2207.55, DriftPPM: -11.3},
		{Name: "spare", About: "the spare clock, which runs off a toy motor", Role: "source", Cost: 4, RandomPS: 420_000,
			Lines: []Line{{Hz: 60, PeakPS: 90_000}}, NoiseDBFS: -111, GainDB: 0.22, DelaySamples: 15003.2, DriftPPM: 37.9},
		{Name: "old-desk", About: "the hall clock through the old desk, said to be warm", Role: "source", Cost: 900, RandomPS: 37,
			NoiseDBFS: -110, TrebleDB: -1.6, GainDB: -1.1, DelaySamples: 6100.13, DriftPPM: 2.7},
		{Name: "loop", About: "the recorder's output into its input", Role: "floor", NoiseDBFS: -130, DelaySamples: 77.7},
		{Name: "phones", About: "what the listeners hear through", Role: "replay", RandomPS: 55, NoiseDBFS: -113, DelaySamples: 301.9, DriftPPM: 1.1},
	}
}

// Record returns what the invented recorder makes of a signal sent through a chain: stereo, as long as the signal.
func Record(ctx context.Context, c Chain, in pcm.Clip, seed uint64) (pcm.Clip, error) {
	if c.TrebleDB != 0 {
		in = treble(in, c.TrebleDB)
	}
	dose := impair.Dose{
		Noise:  []impair.Noise{{DBFS: recorderNoiseDBFS}, {DBFS: c.NoiseDBFS}},
		GainDB: c.GainDB - 1.5, // the recorder's headroom
		Seed:   seed, DelaySamples: c.DelaySamples, DriftPPM: c.DriftPPM,
		Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: math.Hypot(recorderRandomPS, c.RandomPS)}},
	}
	for _, l := range c.Lines {
		dose.Jitter = append(dose.Jitter, impair.Jitter{Kind: impair.Periodic, RMSPS: l.PeakPS / math.Sqrt2, FreqHz: l.Hz})
	}
	if c.HumDBFS != 0 {
		dose.Hum = []impair.Hum{{FreqHz: 50, DBFS: c.HumDBFS, Harmonics: 3}}
	}
	out := pcm.NewClip(in.Rate, len(in.Channels), 0)
	_, err := impair.Apply(ctx, in, dose, func(block [][]float64) error {
		for k, ch := range block {
			out.Channels[k] = append(out.Channels[k], ch...)
		}
		return nil
	})
	if err != nil {
		return out, fmt.Errorf("invent a capture of %s: %w", c.Name, err)
	}
	return out, nil
}

// treble returns the clip with a first-order shelf: gain db far above 5 kHz, 0 dB far below.
func treble(c pcm.Clip, db float64) pcm.Clip {
	out := c.Clone()
	a := math.Exp(-2 * math.Pi * 5000 / c.Rate.Hz())
	g := pcm.Ratio(db)
	for _, ch := range out.Channels {
		low := 0.0
		for i, v := range ch {
			low = a*low + (1-a)*v
			ch[i] = low + g*(v-low)
		}
	}
	return out
}

// Signals returns the test signals of the demonstration.
func Signals(rate pcm.Rate) (map[signal.Kind]pcm.Clip, error) {
	all := map[signal.Kind]pcm.Clip{}
	for kind, seconds := range map[signal.Kind]float64{signal.Jitter: 12, signal.Tone: 5, signal.Silence: 5} {
		c := signal.Config{Kind: kind, Seconds: seconds}
		c.Rate, c.Bits, c.Channels = rate, 24, 2
		clip, err := signal.Make(c)
		if err != nil {
			return nil, fmt.Errorf("invent the %v signal: %w", kind, err)
		}
		all[kind] = clip
	}
	return all, nil
}
