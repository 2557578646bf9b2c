package match_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match"
	"heardiff/measure/match/fault"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// coarse returns what a lossy code leaves of x: noise so many dB below the music in every stretch and bin, its neighbours smoothed. Written for this
// test.
func coarse(x []float64, belowDB float64, random *rand.Rand) []float64 {
	const n = 1024
	plan, window, out := spectrum.NewPlan(n), spectrum.Hann().Samples(n), make([]float64, len(x))
	for from := 0; from+n <= len(x); from += n / 2 {
		block := make([]float64, n)
		for i := range block {
			block[i] = x[from+i] * window[i]
		}
		bins := plan.Forward(nil, block)
		noise := make([]complex128, len(bins))
		for k := 2; k+2 < len(bins); k++ {
			near := 0.0
			for _, z := range bins[k-2 : k+3] {
				near += real(z)*real(z) + imag(z)*imag(z)
			}
			// Two windows that overlap by half, each twice, leave 2·(3/8)² of the power.
			noise[k] = cmplx.Rect(math.Sqrt(near/5/0.28125)*pcm.Ratio(-belowDB), 2*math.Pi*random.Float64())
		}
		for i, v := range plan.Inverse(nil, noise) {
			out[from+i] += v * window[i]
		}
	}
	return out
}

// underBass returns music with a bass of 45 Hz that is so many times as loud, as the way delivers both.
func underBass(seed uint64, rate pcm.Rate, seconds, bass float64, w way) pcm.Clip {
	c := newMusic(seed, seconds, 0.45*rate.Hz()).capture(rate, int(seconds*rate.Hz()), way{offset: w.offset, drift: w.drift, gain: w.gain, wander: w.wander})
	gain := w.gain
	if gain == 0 {
		gain = 1
	}
	for i := range c.Len() {
		at := (float64(i) - w.offset) / (1 + w.drift) / rate.Hz()
		if w.wander != nil {
			at -= w.wander(at)
		}
		v := gain * bass * math.Sin(2*math.Pi*45*at) * (0.7 + 0.3*math.Sin(2*math.Pi*0.37*at))
		for _, ch := range c.Channels {
			ch[i] += v
		}
	}
	return w.finish(c)
}

// Loud bass makes the null deep, and hides what a lossy code leaves of the rest: it is said where it is 42 dB below the music of its bands, and not where
// it is 55 dB below.
func TestLossyCopiesAreSaidUnderLoudBass(t *testing.T) {
	const rate, seconds = 24000, 5
	for _, c := range []struct {
		belowDB float64
		said    bool
	}{{42, true}, {55, false}} {
		a := underBass(7, rate, seconds, 2, way{})
		b := a.Clone()
		random := rand.New(rand.NewPCG(9, 9))
		for ch, x := range b.Channels {
			// The code follows the bass well: it costs few bits.
			for i, v := range coarse(newMusic(7, seconds, 0.45*rate).capture(rate, rate*seconds, way{}).Channels[ch], c.belowDB, random) {
				x[i] += v
			}
		}
		r, err := match.Compare(way{noise: 1e-6, seed: 1}.finish(a), way{noise: 1e-6, seed: 2}.finish(b))
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%v dB below: null %.1f dB, %q", c.belowDB, r.NullDB, r.Texts)
		if r.NullDB > -60 {
			t.Errorf("%v dB below: null %.1f dB, want a deep one", c.belowDB, r.NullDB)
		}
		if r.Warned(fault.FollowsMusic) != c.said {
			t.Errorf("%v dB below: null %.1f dB, %q", c.belowDB, r.NullDB, r.Texts)
		}
	}
}

// A chain with noise, hum, direct voltage, distortion of 0.01 %, a clock that drifts, wanders and jitters, and another level is said to follow the music in
// none of its captures.
func TestCleanChainsDoNotFollowMusic(t *testing.T) {
	pairs, alarms := 2, 0
	if *full {
		pairs = 300
	}
	for i := range pairs {
		random := rand.New(rand.NewPCG(uint64(i), 11))
		rate, seconds := pcm.Rate(24000), 6.0
		seed, bass := uint64(1000+i), 2*random.Float64()*float64(i%2)
		level := func(low, high float64) float64 { return pcm.Ratio(low + (high-low)*random.Float64()) }
		hum, direct, order := level(-110, -60), level(-90, -50), level(-100, -80)
		sway, swayHz := 50e-9*random.Float64(), math.Exp(6*random.Float64()-4)
		w := way{offset: 200 * random.NormFloat64(), drift: 1e-4 * random.NormFloat64(), gain: level(-3, 3), noise: level(-115, -55), seed: uint64(i)}
		if i%3 == 0 {
			w.wander = func(t float64) float64 { return sway * math.Sin(2*math.Pi*swayHz*t) }
		}
		a := underBass(seed, rate, seconds, bass, way{noise: level(-115, -55), seed: uint64(i) << 20})
		b := underBass(seed, rate, seconds, bass, w)
		for _, ch := range b.Channels {
			for k, v := range ch {
				at := float64(k) / rate.Hz()
				ch[k] = v + order*v*v*math.Copysign(float64(i%2), v) + order*v*v + direct + hum*(math.Sin(2*math.Pi*50.01*at)+0.5*math.Sin(2*math.Pi*150.03*at))
			}
		}
		r, err := match.Compare(a, b)
		if err != nil {
			t.Errorf("pair %d: %v", i, err)
			continue
		}
		if r.Warned(fault.FollowsMusic) {
			alarms++
			t.Errorf("pair %d: null %.1f dB, %s; noise %.3g, hum %.3g, distortion %.3g, sway %.3g s at %.3g Hz", i, r.NullDB, fmt.Sprint(r.Texts), w.noise, hum, order, sway, swayHz)
		}
	}
	t.Logf("%d of %d clean pairs", alarms, pairs)
}
