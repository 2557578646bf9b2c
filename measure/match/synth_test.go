package match_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"heardiff/playback/pcm"
)

// music is a sum of decaying partials and hits evaluated in closed form at any instant, so that a delayed,
// drifting capture can be made without an interpolator.
type music struct {
	start, freq, amp, decay, phase, pan []float64 // seconds, Hz, 1, 1/s, rad, 0 to 1
}

func newMusic(seed uint64, seconds, top float64) music {
	r := rand.New(rand.NewPCG(seed, 1))
	var m music
	for t := 0.0; t < seconds; t += 0.2 + 0.2*r.Float64() {
		base, pan := 80*math.Exp2(4.5*r.Float64()), r.Float64()
		for h := 1.0; h <= 6; h++ {
			f := base * h * (1 + 0.001*r.Float64())
			if h > 4 {
				f = 2000 + (top-2000)*r.Float64() // a touch of cymbal
			}
			if f > top {
				continue
			}
			m.start = append(m.start, t)
			m.freq = append(m.freq, f)
			m.amp = append(m.amp, 0.15/math.Sqrt(h))
			m.decay = append(m.decay, 8+8*r.Float64())
			m.phase = append(m.phase, 2*math.Pi*r.Float64())
			m.pan = append(m.pan, pan)
		}
	}
	return m
}

// way is what a capture did to the music.
type way struct {
	offset, drift float64 // frames, ratio
	gain          float64 // ratio, 0 means 1
	noise         float64 // RMS
	bits          int
	seed          uint64
	wander        func(t float64) float64 // seconds of further delay
}

// capture evaluates frames of the music as the way delivers it, at the rate, stereo.
func (m music) capture(rate pcm.Rate, frames int, w way) pcm.Clip {
	c := pcm.NewClip(rate, 2, frames)
	gain := w.gain
	if gain == 0 {
		gain = 1
	}
	// Frame i of B holds the instant (i − offset)/(1 + drift) of A.
	at := func(i int) float64 {
		t := (float64(i) - w.offset) / (1 + w.drift) / rate.Hz()
		if w.wander != nil {
			t -= w.wander(t)
		}
		return t
	}
	for k := range m.start {
		last := m.start[k] + 16/m.decay[k]
		begin := max(0, int(m.start[k]*rate.Hz()*(1+w.drift)+w.offset)-50)
		left, right := gain*m.amp[k]*math.Sqrt(1-m.pan[k]), gain*m.amp[k]*math.Sqrt(m.pan[k])
		d := m.decay[k]
		partial := func(u float64) complex128 {
			return cmplx.Exp(complex(-d*u, 2*math.Pi*m.freq[k]*u+m.phase[k]))
		}
		rise := func(u float64) float64 { return math.Exp(-20 * d * u) }
		z, e, step, fall := complex128(0), 0.0, complex128(0), 0.0
		for i := begin; i < frames; i++ {
			t := at(i)
			if t > last {
				break
			}
			u := t - m.start[k]
			if u < 0 {
				continue
			}
			if z == 0 || w.wander != nil {
				// On a uniform grid both are geometric series: same closed form, one product a frame.
				z, e = partial(u), rise(u)
				per := 1 / ((1 + w.drift) * rate.Hz())
				step, fall = cmplx.Exp(complex(-d*per, 2*math.Pi*m.freq[k]*per)), rise(per)
			}
			a := 1 - e
			v := imag(z) * a * a * a * a * a * a // six derivatives vanish at the start: the spectrum falls off steeply
			c.Channels[0][i] += v * left
			c.Channels[1][i] += v * right
			z *= step
			e *= fall
		}
	}
	return w.finish(c)
}

// finish adds the noise and rounds to the word length, in place.
func (w way) finish(c pcm.Clip) pcm.Clip {
	r := rand.New(rand.NewPCG(w.seed, 77))
	for _, ch := range c.Channels {
		for i := range ch {
			ch[i] += w.noise * r.NormFloat64()
			if w.bits > 0 {
				s := math.Ldexp(1, w.bits-1)
				ch[i] = math.Round(ch[i]*s) / s
			}
		}
	}
	return c
}

// steady is the sum of many steady sines up to topHz: strictly band-limited, so that it is exact up to Nyquist, too.
func steady(rate pcm.Rate, frames int, topHz float64, w way) pcm.Clip {
	r := rand.New(rand.NewPCG(31, 1))
	c := pcm.NewClip(rate, 2, frames)
	const sines = 240
	for k := range sines {
		hz := 40 * math.Pow(topHz/40, float64(k)/(sines-1)) * (1 - 1e-3*r.Float64())
		per := 2 * math.Pi * hz / rate.Hz() / (1 + w.drift)
		z := cmplx.Rect(0.03, 2*math.Pi*r.Float64()-w.offset*per)
		step, pan := cmplx.Rect(1, per), r.Float64()
		for i := range frames {
			c.Channels[0][i] += imag(z) * math.Sqrt(1-pan)
			c.Channels[1][i] += imag(z) * math.Sqrt(pan)
			z *= step
		}
	}
	return c
}
