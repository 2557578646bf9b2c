package tone_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// distorted returns a tone of −1 dBFS 23 ppm off with harmonics 2 to 9 from dbc downwards, 6 dB each.
func distorted(hz, dbc, noise float64) pcm.Clip {
	hz *= 1 + 23e-6
	peak := pcm.Ratio(-1)
	parts := []part{{hz, peak, 0.4}}
	for n := 2; n <= 9; n++ {
		parts = append(parts, part{float64(n) * hz, peak * pcm.Ratio(dbc-6*float64(n-2)), float64(n * n)})
	}
	return synth(48000, 8, noise, parts...)
}

// What fits the tone also fits what distortion leaves of it, unless both are found together.
func TestStrongDistortionLeavesNothingInTheNoise(t *testing.T) {
	for _, hz := range []float64{52, 997, 2111} {
		for _, dbc := range []float64{-6, -20, -40} {
			r, err := tone.Measure(distorted(hz, dbc, 0))
			if err != nil {
				t.Fatal(err)
			}
			c := r.Channel[0]
			// −150 dB is asked for; it is relative to the tone of −1 dBFS.
			if !(c.NoiseDB < -150) {
				t.Errorf("%v Hz, %v dBc: %.1f dB of noise where there is none", hz, dbc, c.NoiseDB)
			}
			for _, h := range c.Harmonics {
				near(t, "harmonic", h.DBC, dbc-6*float64(h.Order-2), 1e-4)
				if h.LimitDBC > -150 {
					t.Errorf("%v Hz, %v dBc: limit of harmonic %d %.1f dBc", hz, dbc, h.Order, h.LimitDBC)
				}
			}
			noise := pcm.Ratio(-110) / math.Sqrt2 // AES17, over all of the band to half the rate
			if r, err = tone.Measure(distorted(hz, dbc, noise)); err != nil {
				t.Fatal(err)
			}
			want := -110 + 1 + 10*math.Log10(19980.0/24000)
			near(t, "noise with distortion", r.Channel[0].NoiseDB, want, 0.05)
		}
	}
}

// A converter that shapes its noise holds more of it above the band than the tone of −60 dBFS is strong.
func TestNoiseBeyondTheBandIsNoNoise(t *testing.T) {
	const rate = 192000
	for _, dbfs := range []float64{-50, -40, -30} {
		c := synth(rate, 6, pcm.Ratio(-110)/math.Sqrt2*math.Sqrt(96000.0/19980), part{997, pcm.Ratio(-60), 0})
		shaped := highNoise(c.Len(), rate, 25e3, pcm.Ratio(dbfs)/math.Sqrt2)
		for i, v := range shaped {
			c.Channels[0][i] += v
		}
		r, err := tone.LowTone(c)
		if err != nil {
			t.Errorf("%v dBFS above 25 kHz: %v", dbfs, err)
			continue
		}
		near(t, "dynamic range", r.Channel[0].DynamicRangeDB, 110, 0.1)
		if len(r.Texts) != 0 {
			t.Errorf("%v dBFS above 25 kHz: %q", dbfs, r.Texts)
		}
	}
}

// highNoise returns noise of an RMS value from a frequency up to half the rate.
func highNoise(n int, rate, from, rms float64) []float64 {
	random := rand.New(rand.NewPCG(5, 6))
	x := make([]float64, n)
	// White noise through a long windowed high-pass.
	const half = 200
	h := make([]float64, 2*half+1)
	for k := range h {
		d := float64(k - half)
		w := (0.42 + 0.5*math.Cos(math.Pi*d/half) + 0.08*math.Cos(2*math.Pi*d/half))
		h[k] = -2 * from / rate * w
		if d != 0 {
			h[k] = -math.Sin(2*math.Pi*from/rate*d) / (math.Pi * d) * w
		}
	}
	h[half]++
	white := make([]float64, n+2*half)
	for i := range white {
		white[i] = random.NormFloat64()
	}
	sum := 0.0
	for i := range x {
		for k, v := range h {
			x[i] += v * white[i+k]
		}
		sum += x[i] * x[i]
	}
	for i := range x {
		x[i] *= rms / math.Sqrt(sum/float64(n))
	}
	return x
}
