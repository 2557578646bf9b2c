package tone_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/spectrum"
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
			// −150 dB is required, relative to the tone of −1 dBFS.
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

// A converter that shapes its noise has more of it above the band than the power of a tone of −60 dBFS, and an idle tone: neither hides the
// tone, and the fit of the tone takes no part of them.
func TestWhatIsBeyondTheBandIsNoNoise(t *testing.T) {
	const inBand, seconds = -110, 5.4
	for _, c := range []struct {
		rate        pcm.Rate
		noise, idle float64 // dBFS; the idle tone is at 31 kHz
	}{{96000, -50, -58}, {96000, -20, -40}, {192000, -30, -200}} {
		clip := synth(c.rate, seconds, pcm.RMSOf(inBand)*math.Sqrt(c.rate.Hz()/2/(20000-20)),
			part{997 * (1 + 23e-6), pcm.Ratio(-60), 0}, part{31e3, pcm.Ratio(c.idle), 0})
		for i, v := range highNoise(clip.Len(), c.rate.Hz(), 25e3, pcm.RMSOf(c.noise)) {
			clip.Channels[0][i] += v
		}
		r, err := tone.LowTone(clip)
		if err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		near(t, "dynamic range", r.Channel[0].DynamicRangeDB, -inBand, 0.1)
		near(t, "level", r.Channel[0].LevelDBFS, -60, 0.01)
		if len(r.Texts) != 0 {
			t.Errorf("%+v: %q", c, r.Texts)
		}
	}
}

// highNoise returns Gaussian noise of an RMS value from a frequency up to half the rate, and none below.
func highNoise(n int, rate, from, rms float64) []float64 {
	random := rand.New(rand.NewPCG(5, 6))
	size := spectrum.PowerOfTwo(n)
	bins := make([]complex128, size/2+1)
	for k := int(from / rate * float64(size)); k < size/2; k++ {
		bins[k] = complex(random.NormFloat64(), random.NormFloat64())
	}
	x := spectrum.NewPlan(size).Inverse(nil, bins)[:n]
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	for i := range x {
		x[i] *= rms / math.Sqrt(sum/float64(n))
	}
	return x
}
