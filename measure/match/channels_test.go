package match_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// What is done to one channel is said of that channel: its gain and delay come out right, and nothing else is blamed.
func TestOneChannelUnlikeTheOther(t *testing.T) {
	wide := dull(6*faultRate, 3)
	noisy := func(x []float64, by float64, late int) []float64 {
		out := make([]float64, len(x))
		for i := range x[late:] {
			out[i+late] = by * x[i]
		}
		return way{noise: 1e-6, seed: 7}.finish(pcm.Clip{Rate: faultRate, Channels: [][]float64{out}}).Channels[0]
	}
	one, two := wide.Channels[0], wide.Channels[1]
	for _, c := range []struct {
		name        string
		b           [2][]float64
		swapped     bool
		says        []string
		gain, delay float64 // of channel 2 against channel 1; NaN: none
	}{
		{"late", [2][]float64{noisy(one, 1, 0), noisy(two, 1, 3)}, false, []string{"channel 2 is late by +12"}, 0, 3},
		{"softer", [2][]float64{noisy(one, 1, 0), noisy(two, 0.95, 0)}, false, []string{"channel 2 differs by -0.45 dB"}, pcm.DB(0.95), 0},
		{"dead", [2][]float64{noisy(one, 1, 0), noisy(two, 0, 0)}, false, []string{"channel 2 of B is not that of A"}, math.NaN(), math.NaN()},
		{"exchanged, and 1 inverted", [2][]float64{noisy(two, -1, 0), noisy(one, 1, 0)}, true, []string{"are exchanged in B", "channel 1 of B is inverted"}, 0, 0},
		{"exchanged, and 2 inverted", [2][]float64{noisy(two, 1, 0), noisy(one, -1, 0)}, true, []string{"are exchanged in B", "channel 1 of B is inverted"}, 0, 0},
	} {
		r, err := match.Compare(wide, pcm.Clip{Rate: faultRate, Channels: c.b[:]}, match.Config{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if r.ChannelsSwapped != c.swapped || len(r.Warnings) != len(c.says) {
			t.Errorf("%s: swapped %v, %q", c.name, r.ChannelsSwapped, r.Warnings)
		}
		for _, says := range c.says {
			if !slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.Contains(w, says) }) {
				t.Errorf("%s: no %q among %q", c.name, says, r.Warnings)
			}
		}
		gain, delay := r.Channels[1].GainDB-r.Channels[0].GainDB, r.Channels[1].OffsetSamples-r.Channels[0].OffsetSamples
		// A hundredth of a decibel and of a frame: the noise is 70 dB below the music.
		if math.IsNaN(c.gain) != math.IsNaN(gain) || math.Abs(gain-c.gain) > 0.01 || math.Abs(delay-c.delay) > 0.01 {
			t.Errorf("%s: %+.3f dB, %+.4f frames, want %+.3f and %+.4f", c.name, gain, delay, c.gain, c.delay)
		}
	}
}
