package match_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// spoilt returns a copy of c scaled by a gain, with direct voltage, a rumble and white noise.
func spoilt(c pcm.Clip, gain, direct, rumble, noise float64, seed uint64) pcm.Clip {
	out := c.Clone()
	random := rand.New(rand.NewPCG(seed, 8))
	for _, x := range out.Channels {
		for i := range x {
			x[i] = gain*x[i] + direct + rumble*math.Sin(2*math.Pi*3*float64(i)/c.Rate.Hz()) + noise*random.NormFloat64()
		}
	}
	return out
}

// Content below the band does not count for the level: music is matched as if it were not there, and the difference is named.
func TestLevelIsThatOfTheAudibleBand(t *testing.T) {
	m := newMusic(3, 12, 18000)
	loud := m.capture(48000, 10*48000, way{})
	rms := math.Sqrt(meanSquare(loud))
	for name, c := range map[string]struct {
		level            float64 // of the music, dBFS RMS
		directA, directB float64
		rumbleA, rumbleB float64 // RMS, dBFS
		want             warning.Code
		full             bool
	}{
		"direct voltage of a recorder under quiet music":   {-50, 0.0003, 0.0003, -200, -200, "", false},
		"direct voltage of either sign, under quiet music": {-50, 0.0003, -0.0003, -200, -200, "", true},
		"more direct voltage under quiet music":            {-50, 0, 0.0003, -200, -200, fault.DirectVoltage, false},
		"more direct voltage under loud music":             {-20, 0, 0.01, -200, -200, fault.DirectVoltage, false},
		"rumble under loud music":                          {-20, 0, 0, -200, -40, fault.Rumble, false},
		"rumble in the reference":                          {-20, 0, 0, -40, -200, fault.Rumble, true},
		"the same rumble in both":                          {-20, 0, 0, -40, -40, "", true},
	} {
		if c.full && !*full {
			continue
		}
		gain := pcm.Ratio(c.level) / rms
		a := spoilt(loud, gain, c.directA, pcm.Ratio(c.rumbleA), 1e-7, 1)
		b := spoilt(m.capture(48000, 10*48000, way{offset: 17.3}), 0.8*gain, c.directB, pcm.Ratio(c.rumbleB), 1e-7, 2)
		p, err := match.Prepare([]pcm.Reader{a, b}, match.Excerpt{StartS: 1, LengthS: 8})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		v := p.Presentations
		if off := v[1].GainDB - v[0].GainDB + pcm.DB(0.8); math.Abs(off) > 0.001 || math.Abs(v[1].LevelErrorDB) > 0.001 {
			t.Errorf("%s: the level is off by %.4f dB, said to be by %.4f", name, off, v[1].LevelErrorDB)
		}
		said := of(p.Details, fault.DirectVoltage, fault.Rumble)
		if c.want == "" && len(said) > 0 || c.want != "" && (len(said) == 0 || len(of(said, c.want)) != len(said)) {
			t.Errorf("%s: warnings %q, want %q alone", name, p.Texts, c.want)
		}
	}
}

// Where the music rests, rumble in one capture is not taken for something that the other lost.
func TestRumbleWhereTheMusicRestsIsNoDropout(t *testing.T) {
	const rate = 24000
	c := newMusic(3, 8, 10000).capture(rate, 8*rate, way{})
	for _, x := range c.Channels {
		clear(x[:rate])
	}
	a := spoilt(c, 1, 0, 0, 1e-7, 1)
	b := spoilt(c, 1, 0, math.Sqrt(meanSquare(c))*pcm.Ratio(-12), 1e-7, 2)
	r, err := match.Compare(a, b)
	if err != nil {
		t.Fatal(err)
	}
	if r.Warned(fault.Dropout) || !r.Warned(fault.Rumble) {
		t.Errorf("%q", r.Texts)
	}
	p, err := match.Prepare([]pcm.Reader{a, b}, match.Excerpt{StartS: 0.2, LengthS: 6})
	if err != nil {
		t.Fatal(err)
	}
	if p.Warned(fault.Dropout) || !p.Warned(fault.Rumble) {
		t.Errorf("prepared: %q", p.Texts)
	}
}

// Noise of one capture does not move the level to which the other is matched.
func TestNoiseOfOneCaptureMovesNoLevel(t *testing.T) {
	m := newMusic(3, 12, 18000)
	loud := m.capture(48000, 10*48000, way{})
	rms := math.Sqrt(meanSquare(loud))
	type noises struct{ noiseA, noiseB float64 } // to the music
	cases := []noises{{-17, -200}, {-200, -17}}
	if *full {
		cases = append(cases, noises{-20, -20}, noises{-30, -200})
	}
	for _, c := range cases {
		a := spoilt(loud, 1e-3/rms, 0, 0, 1e-3*pcm.Ratio(c.noiseA), 1)
		b := spoilt(m.capture(48000, 10*48000, way{offset: 17.3}), 0.8e-3/rms, 0, 0, 0.8e-3*pcm.Ratio(c.noiseB), 2)
		p, err := match.Prepare([]pcm.Reader{a, b}, match.Excerpt{StartS: 1, LengthS: 8})
		if err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		v := p.Presentations
		off := v[1].GainDB - v[0].GainDB + pcm.DB(0.8)
		t.Logf("%+v: off by %.4f dB, said %.4f, null %.1f, by %s", c, off, v[1].LevelErrorDB, v[1].NullDB, v[1].LevelBy)
		if math.Abs(off) > 0.01 {
			t.Errorf("%+v: the level is off by %.4f dB, said to be by %.4f; null %.1f dB, by %s: %q", c, off, v[1].LevelErrorDB, v[1].NullDB, v[1].LevelBy, p.Texts)
		}
	}
}

// One channel that is inverted against the other is turned back and named; it is not taken for a difference in time.
func TestAnInvertedChannelIsPutRight(t *testing.T) {
	m := newMusic(3, 7, 18000)
	a := m.capture(48000, 6*48000, way{seed: 1, noise: 1e-5})
	for _, sign := range []float64{1, -1} {
		for channel := range 2 {
			if !*full && (sign > 0) != (channel == 0) {
				continue // every sign and every channel once
			}
			b := m.capture(48000, 6*48000, way{offset: 17.3, gain: sign, seed: 2, noise: 1e-5})
			for i := range b.Channels[channel] {
				b.Channels[channel][i] *= -1
			}
			p, err := match.Prepare([]pcm.Reader{a, b}, match.Excerpt{StartS: 1, LengthS: 4})
			if err != nil {
				t.Errorf("channel %d: %v", channel+1, err)
				continue
			}
			v := p.Presentations[1]
			if v.NullDB > -60 || len(v.ChannelsInverted) != 1 || !p.Warned(fault.ChannelInverted) {
				t.Errorf("channel %d: null %.1f dB, inverted %v: %q", channel+1, v.NullDB, v.ChannelsInverted, p.Texts)
			}
		}
	}
}
