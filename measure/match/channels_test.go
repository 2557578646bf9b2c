package match_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"heardiff/measure/match"
	"heardiff/measure/match/fault"
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
		want        []warned
		gain, delay float64 // of channel 2 against channel 1; NaN: none
	}{
		{"late", [2][]float64{noisy(one, 1, 0), noisy(two, 1, 3)}, false, []warned{{code: fault.ChannelDelay, channel: 2, value: 125, within: 5}}, 0, 3},
		{"softer", [2][]float64{noisy(one, 1, 0), noisy(two, 0.95, 0)}, false, []warned{{code: fault.ChannelGain, channel: 2, value: -0.445, within: 0.005}}, pcm.DB(0.95), 0},
		{"dead", [2][]float64{noisy(one, 1, 0), noisy(two, 0, 0)}, false, []warned{{code: fault.ChannelMissing, channel: 2}}, math.NaN(), math.NaN()},
		{"exchanged, and 1 inverted", [2][]float64{noisy(two, -1, 0), noisy(one, 1, 0)}, true, []warned{{code: match.ChannelsSwapped}, {code: fault.ChannelInverted, channel: 1}}, 0, 0},
		{"exchanged, and 2 inverted", [2][]float64{noisy(two, 1, 0), noisy(one, -1, 0)}, true, []warned{{code: match.ChannelsSwapped}, {code: fault.ChannelInverted, channel: 1}}, 0, 0},
	} {
		r, err := match.Compare(wide, pcm.Clip{Rate: faultRate, Channels: c.b[:]})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if r.ChannelsSwapped != c.swapped || len(r.Details) != len(c.want) {
			t.Errorf("%s: swapped %v, %q", c.name, r.ChannelsSwapped, r.Texts)
		}
		for _, w := range c.want {
			if !w.in(r.Details) {
				t.Errorf("%s: no %+v among %v", c.name, w, r.Details)
			}
		}
		gain, delay := r.Channels[1].GainDB-r.Channels[0].GainDB, r.Channels[1].OffsetSamples-r.Channels[0].OffsetSamples
		// A hundredth of a decibel and of a frame: the noise is 70 dB below the music.
		if math.IsNaN(c.gain) != math.IsNaN(gain) || math.Abs(gain-c.gain) > 0.01 || math.Abs(delay-c.delay) > 0.01 {
			t.Errorf("%s: %+.3f dB, %+.4f frames, want %+.3f and %+.4f", c.name, gain, delay, c.gain, c.delay)
		}
	}
}

// A capture collapsed to mono is named, whether the place of B is found or refused; and mono music in both is no fault.
func TestOneCaptureIsMono(t *testing.T) {
	wide := dull(6*faultRate, 3)
	sum := make([]float64, wide.Len())
	for i := range sum {
		sum[i] = (wide.Channels[0][i] + wide.Channels[1][i]) / 2
	}
	twice := func(x []float64, seed uint64) pcm.Clip {
		return way{noise: 1e-6, seed: seed}.finish(pcm.Clip{Rate: faultRate, Channels: [][]float64{slices.Clone(x), slices.Clone(x)}})
	}
	for _, c := range []struct {
		name string
		a, b pcm.Clip
		says string // which of the two it is; "" = neither
	}{
		{"both channels of B the sum", wide, twice(sum, 1), "B is mono"},
		{"both channels of B channel 2", wide, twice(wide.Channels[1], 1), "B is mono"},
		{"both channels of A channel 1", twice(wide.Channels[0], 1), wide, "A is mono"},
		{"mono music", twice(sum, 1), twice(sum, 2), ""},
	} {
		r, err := match.Compare(c.a, c.b)
		said := strings.Join(r.Texts, "\n")
		if err != nil {
			said = err.Error()
			if !errors.Is(err, match.ErrMono) || !errors.Is(err, match.ErrUnrelated) {
				t.Errorf("%s: error %v", c.name, err)
			}
		}
		if mono := err != nil || r.Warned(fault.Mono); mono != (c.says != "") || !strings.Contains(said, c.says) || !mono && said != "" {
			t.Errorf("%s: %q, want %q", c.name, said, c.says)
		}
		t.Logf("%s: %q, null %.1f dB", c.name, said, r.NullDB)
	}
}

// A converter that samples its channels in turn has them half a frame apart, or one: the drift stays that of the clock,
// each channel has its own offset, and the standard errors are of noise, not of that.
func TestChannelsWithOffsetsOfTheirOwn(t *testing.T) {
	const rate, seconds = 24000, 12
	m := newMusic(61, seconds, 9500)
	a := m.capture(rate, rate*seconds, way{noise: 1e-5, seed: 1})
	offsets := []float64{0, -0.1, 5.25}
	if *full {
		offsets = append(offsets, 0.5, 1)
	}
	for _, apart := range offsets {
		w := way{offset: 7.3, drift: 8e-6, gain: 0.9, noise: 1e-5, seed: 2}
		b := m.capture(rate, rate*seconds, w)
		w.offset, w.seed = w.offset+apart, 3
		b.Channels[1] = m.capture(rate, rate*seconds, w).Channels[1]
		r, err := match.Compare(a, b)
		if err != nil {
			t.Errorf("%v apart: %v", apart, err)
			continue
		}
		one, two := r.Channels[0].OffsetSamples-7.3, r.Channels[1].OffsetSamples-7.3-apart
		t.Logf("%v apart: %+.2g, %+.2g and %+.2g samples off, drift %+.2g ± %.2g ppm off, standard error %.2g samples", apart, one, two,
			r.OffsetSamples-7.3, r.DriftPPM-8, r.StandardErrors.DriftPPM, r.StandardErrors.OffsetSamples)
		if math.Abs(r.DriftPPM-8) > 4*r.StandardErrors.DriftPPM || r.StandardErrors.DriftPPM > 1e-3 {
			t.Errorf("%v apart: drift %.5f ± %.5f ppm, want 8", apart, r.DriftPPM, r.StandardErrors.DriftPPM)
		}
		if most := 6 * r.StandardErrors.OffsetSamples; math.Abs(one) > most || math.Abs(two) > most || most > 1e-3 {
			t.Errorf("%v apart: channels off by %.2g and %.2g samples, standard error %.2g", apart, one, two, most/6)
		}
	}
}

// A chord that rings on repeats after the period its notes share: where one channel is inverted, that is no jump to where the rest of it fits.
func TestAnInvertedChannelOfARingingChordIsNoJump(t *testing.T) {
	const rate, seconds = 16000, 16
	c := pcm.NewClip(rate, 2, rate*seconds)
	for note := range 12 {
		hz := 110 * float64(8+note) / 8
		for h := 1.0; h <= 5; h++ {
			for i := range c.Len() {
				at := float64(i) / rate
				v := 0.05 / h * math.Exp(-0.3*h*at) * math.Sin(2*math.Pi*h*hz*at)
				pan := 0.25 + 0.125*float64(note%5)
				c.Channels[0][i] += v * pan
				c.Channels[1][i] += v * (1 - pan)
			}
		}
	}
	inverted := way{noise: 1e-5, seed: 2}.finish(c.Clone())
	for i, v := range inverted.Channels[1] {
		inverted.Channels[1][i] = -v
	}
	r, err := match.Compare(way{noise: 1e-5, seed: 1}.finish(c), inverted)
	if err != nil || len(r.Jumps) > 0 || len(r.Texts) != 1 || !r.Warned(fault.ChannelInverted) {
		t.Errorf("%+v, %q, %v; want one inverted channel", r.Jumps, r.Texts, err)
	}
}
