package tone_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// sweepAlone is a sweep of 12 s at 48 kHz.
func sweepAlone(t *testing.T) pcm.Clip {
	t.Helper()
	level := -6.0
	c, err := signal.Make(signal.Config{Kind: signal.Sweep, Rate: 48000, Bits: 24, Channels: 1, Seconds: 12, LevelDBFS: &level})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func measureSweep(t *testing.T, c pcm.Clip) tone.SweepResult {
	t.Helper()
	r, err := tone.Sweep(c)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// noisy adds white noise.
func noisy(x []float64, rms float64) []float64 {
	r := rand.New(rand.NewPCG(4, 16))
	for i := range x {
		x[i] += rms * r.NormFloat64()
	}
	return x
}

// Where frames are lost or come again, what follows arrives early or late by so many: known to half a millisecond (at the low
// end to a tenth of a period), and the place to half an octave.
func TestLostAndRepeatedFramesOfASweepAreNamed(t *testing.T) {
	sweep := sweepAlone(t)
	alone := measureSweep(t, sweep)
	if len(alone.Texts) > 0 {
		t.Errorf("a wire: %q", alone.Texts)
	}
	for _, c := range []struct {
		hz     float64
		frames int // negative where they are lost
	}{
		{60, -2400}, {60, 1600}, {200, -480}, {200, 441}, {1000, -128}, {1000, 441}, {3000, 64}, {7000, -64}, {14000, -480}, {14000, 64},
	} {
		at := int(48000 * (alone.Channel[0].DelayS + alone.GrowthS*math.Log(c.hz/20)))
		x := slices.Clone(sweep.Channels[0])
		if c.frames < 0 {
			x = slices.Delete(x, at, at-c.frames)
		} else {
			x = slices.Insert(x, at, slices.Clone(x[at-c.frames:at])...)
		}
		r := measureSweep(t, pcm.Clip{Rate: sweep.Rate, Channels: [][]float64{noisy(x, 1e-4)}})
		i := slices.IndexFunc(r.Details, func(w warning.Warning) bool { return w.Code == tone.TimeJump })
		if i < 0 {
			t.Errorf("%d frames at %.0f Hz: %q", c.frames, c.hz, r.Texts)
			continue
		}
		jump, want := r.Details[i], float64(c.frames)/48
		hz := 20 * math.Exp((jump.FromS-alone.Channel[0].DelayS)/alone.GrowthS) // that the sweep passes then
		if math.Abs(jump.Value-want) > max(0.5, 100/c.hz) || math.Abs(math.Log2(hz/c.hz)) > 0.5 {
			t.Errorf("%.1f ms at %.0f Hz: %+v", want, c.hz, jump)
		}
	}
}

// What chains do to a sweep is no jump: filters at either end, noise, distortion.
func TestWhatAChainDoesToASweepIsNoJump(t *testing.T) {
	for name, chain := range map[string]func(x []float64) []float64{
		"noise at -40 dBFS": func(x []float64) []float64 { return noisy(x, 1e-2) },
		"high-pass of fourth order at 20 Hz, noise": func(x []float64) []float64 {
			for range 4 {
				y, last := 0.0, 0.0
				for i, v := range x {
					y = math.Exp(-2*math.Pi*20/48000) * (y + v - last)
					x[i], last = y, v
				}
			}
			return noisy(x, 1e-4)
		},
		"low-pass of eighth order at 5 kHz, noise that hides the treble": func(x []float64) []float64 {
			for range 8 {
				y := 0.0
				for i, v := range x {
					y += (1 - math.Exp(-2*math.Pi*5000/48000)) * (v - y)
					x[i] = y
				}
			}
			return noisy(x, 3e-2)
		},
		"distortion": func(x []float64) []float64 {
			for i, v := range x {
				x[i] = math.Tanh(3*v) / 3
			}
			return x
		},
	} {
		c := sweepAlone(t)
		c.Channels[0] = chain(c.Channels[0])
		if r := measureSweep(t, c); len(r.Texts) > 0 {
			t.Errorf("%s: %q", name, r.Texts)
		}
	}
}

// equalized is x through one section: a cut of so many decibels, or where that is −Inf a notch.
//
// ref: R. Bristow-Johnson, Cookbook formulae for audio equalizer biquad filter coefficients (from memory): peakingEQ, notch.
func equalized(x []float64, hz, q, db float64) []float64 {
	w, a := 2*math.Pi*hz/48000, math.Pow(10, db/40)
	alpha := math.Sin(w) / (2 * q)
	b0, b2, a0, a2 := 1+alpha*a, 1-alpha*a, 1+alpha/a, 1-alpha/a
	if math.IsInf(db, -1) {
		b0, b2, a0, a2 = 1, 1, 1+alpha, 1-alpha
	}
	middle := -2 * math.Cos(w)
	var x1, x2, y1, y2 float64
	for i, v := range x {
		y := (b0*v + middle*x1 + b2*x2 - middle*y1 - a2*y2) / a0
		x1, x2, y1, y2 = v, x1, y, y1
		x[i] = y
	}
	return x
}

// A cut or a notch delays the band around it; the response is the chain's, and right. A loss together with one is still named.
func TestACutIsNoJump(t *testing.T) {
	for _, db := range []float64{-12, math.Inf(-1)} {
		for _, hz := range []float64{25, 100, 1000} {
			for _, q := range []float64{0.7, 4} {
				c := sweepAlone(t)
				x := noisy(equalized(slices.Clone(c.Channels[0]), hz, q, db), 1e-4)
				if r := measureSweep(t, pcm.Clip{Rate: c.Rate, Channels: [][]float64{x}}); r.Warned(tone.TimeJump) {
					t.Errorf("%v dB at %v Hz, Q %v: %q", db, hz, q, r.Texts)
				}
			}
		}
	}
	c := sweepAlone(t)
	alone := measureSweep(t, c)
	at := int(48000 * (alone.Channel[0].DelayS + alone.GrowthS*math.Log(2000.0/20)))
	x := noisy(slices.Delete(equalized(c.Channels[0], 1000, 2, -12), at, at+128), 1e-4)
	if r := measureSweep(t, pcm.Clip{Rate: c.Rate, Channels: [][]float64{x}}); !slices.ContainsFunc(r.Details, func(w warning.Warning) bool { return w.Code == tone.TimeJump && math.Abs(w.Value+128./48) < 0.5 }) {
		t.Errorf("128 frames lost and a cut: %q", r.Texts)
	}
}
