package match_test

import (
	"math"
	"testing"

	"heardiff/measure/match"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"
)

// swell is 1 from one second to another and 0 outside, with raised-cosine flanks of 30 ms inside.
func swell(from, to float64) func(t float64) float64 {
	return func(t float64) float64 {
		edge := min(t-from, to-t) / 0.03
		return math.Pow(math.Sin(math.Pi/2*min(1, max(0, edge))), 2)
	}
}

// played is a capture, without noise, of music whose level changes with the time in A. Where cut, nothing at all plays while
// the level is 0, not even the recorder.
func played(bare pcm.Clip, w way, level func(t float64) float64, cut bool) pcm.Clip {
	c := bare.Clone()
	at := func(i int) float64 { return level((float64(i) - w.offset) / (1 + w.drift) / c.Rate.Hz()) }
	for _, ch := range c.Channels {
		for i := range ch {
			ch[i] *= at(i)
		}
	}
	c = w.finish(c)
	for _, ch := range c.Channels {
		for i := range ch {
			if cut && at(i) == 0 {
				ch[i] = 0
			}
		}
	}
	return c
}

// Music that fills a part of the captures only: what the recorders add in its pauses is in no way common, and must not move
// the line.
func TestSilenceSaysNothingOfThePlace(t *testing.T) {
	const rate, seconds, noise = 16000, 24, 1e-5
	m := newMusic(51, seconds, 7000)
	w := way{offset: 1234.321, drift: -9e-6, gain: 0.7, seed: 2}
	bareA, bareB := m.capture(rate, seconds*rate, way{}), m.capture(rate, seconds*rate, w)
	for _, c := range []struct {
		name  string
		level func(t float64) float64
		cut   bool
		noise float64 // 0: noise
	}{
		{name: "none", level: swell(-1, seconds+1)},
		{name: "after", level: swell(-1, 8)},
		{name: "before", level: swell(15, seconds+1)},
		{name: "on both sides", level: swell(9, 14)},
		{name: "on both sides, music a tenth", level: swell(13, 15.5)},
		{name: "in the middle", level: func(t float64) float64 { return swell(-1, 4)(t) + swell(19, seconds+1)(t) }},
		{name: "many pauses", level: func(t float64) float64 { return swell(0.1, 0.5)(math.Mod(t+10, 1)) }},
		{name: "a tail that fades for long", level: func(t float64) float64 { return math.Exp(-max(0, t-4) * 1.2) }},
		{name: "digital silence", level: swell(9, 15), cut: true},
		{name: "loud recorders", level: swell(9, 14), noise: 2e-3},
	} {
		if c.noise == 0 {
			c.noise = noise
		}
		a := played(bareA, way{noise: c.noise, seed: 1}, c.level, c.cut)
		w.noise = c.noise
		r, err := match.Compare(a, played(bareB, w, c.level, c.cut))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		off, drift := (r.OffsetSamples-w.offset)/r.StandardErrors.OffsetSamples, (r.DriftPPM-1e6*w.drift)/r.StandardErrors.DriftPPM
		want := pcm.PowerDB((1 + 1/(w.gain*w.gain)) * c.noise * c.noise * share(rate, c.level, seconds, c.cut) / meanSquare(a))
		t.Logf("%s: offset %+.2g (%+.1f standard errors), drift %+.2g ppm (%+.1f), null %.1f dB (%.1f), %q", c.name, r.OffsetSamples-w.offset, off,
			r.DriftPPM-1e6*w.drift, drift, r.NullDB, want, r.Texts)
		if !(math.Abs(off) < 3 && math.Abs(drift) < 3) || !(r.StandardErrors.OffsetSamples < 0.005) {
			t.Errorf("%s: offset off by %.1f standard errors of %.2g samples, drift by %.1f of %.2g ppm", c.name, off, r.StandardErrors.OffsetSamples, drift, r.StandardErrors.DriftPPM)
		}
		if math.Abs(r.NullDB-want) > 1 || len(r.Texts) > 0 {
			t.Errorf("%s: null %.2f dB, the noise predicts %.2f; %q", c.name, r.NullDB, want, r.Texts)
		}
	}
}

// share is the share of the noise that counts: what lies in the band, and, where silence is cut, what sounds.
func share(rate pcm.Rate, level func(t float64) float64, seconds float64, cut bool) float64 {
	band := (0.92*rate.Hz()/2 - 20) / (rate.Hz() / 2)
	if !cut {
		return band
	}
	sounding, n := 0.0, 0.0
	for t := 0.0; t < seconds; t += 0.001 {
		n++
		if level(t) > 0 {
			sounding++
		}
	}
	return band * sounding / n
}

// A channel that is dead, but for a recorder's noise, is named as such, and is not taken for dropouts.
func TestADeadChannelIsNoDropout(t *testing.T) {
	b := dull(faultRate*12, 3)
	a := b.Clone()
	clear(a.Channels[1])
	r, err := match.Compare(way{noise: 3e-6, seed: 1}.finish(a), way{noise: 3e-6, seed: 2}.finish(b))
	if err != nil {
		t.Fatal(err)
	}
	if !(warned{code: fault.ChannelMissing, channel: 2}).in(r.Details) || r.Warned(fault.Dropout) {
		t.Errorf("%q", r.Texts)
	}
}
