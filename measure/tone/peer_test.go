package tone_test

import (
	"math"
	"testing"

	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// lcgNoise returns the samples of testdata/weighted_noise.py: four seconds of even noise from a recurrence, and two lines.
func lcgNoise() pcm.Clip {
	const rate = 48000
	c := pcm.NewClip(rate, 1, 4*rate)
	state := uint32(12345)
	for i := range c.Len() {
		state = 1664525*state + 1013904223
		t := float64(i) / rate
		c.Channels[0][i] = (float64(state)/(1<<32)-0.5)*2e-4 + 1e-5*math.Sin(2*math.Pi*50*t) + 3e-6*math.Sin(2*math.Pi*6300*t)
	}
	return c
}

// ref: numpy 1.24.2 and scipy 1.10.1, python3 testdata/weighted_noise.py: the weightings there are transfer functions
// in the s plane, the spectra scipy's.
func TestWeightedNoiseAgreesWithAnotherLibrary(t *testing.T) {
	r, err := tone.Noise(lcgNoise(), nil)
	if err != nil {
		t.Fatal(err)
	}
	c := r.Channel[0]
	sum, n := 0.0, 0.0
	for _, d := range c.Density {
		if d.Hz >= 3000 && d.Hz <= 4000 {
			sum, n = sum+pcm.Ratio(2*d.DBFS), n+1
		}
	}
	density := pcm.PowerDB(sum / n)
	// Welch's method with the same segments: what is left is how the bins at the band's edges are shared out, and the last segment.
	near(t, "unweighted, same segments", c.UnweightedDBFS, -82.4641, 0.01)
	near(t, "A, same segments", c.AWeightedDBFS, -84.5672, 0.01)
	near(t, "CCIR-RMS, same segments", c.CCIRRMSDBFS, -80.8338, 0.01)
	near(t, "density, same segments", density, -125.4735, 0.01)
	// A single periodogram weights every frame alike, Welch's method the middle of the recording more: the level of 4 s
	// of noise in 20 kHz has a standard error of 0.015 dB by either, in 1 kHz of 0.07 dB.
	near(t, "unweighted, whole", c.UnweightedDBFS, -82.4705, 0.06)
	near(t, "A, whole", c.AWeightedDBFS, -84.5798, 0.06)
	near(t, "CCIR-RMS, whole", c.CCIRRMSDBFS, -80.8384, 0.06)
	near(t, "density, whole", density, -125.5077, 0.2)
	if len(c.Hum) != 1 || len(c.Spurs) != 1 {
		t.Fatalf("hum %v, spurs %v", c.Hum, c.Spurs)
	}
	near(t, "hum", c.Hum[0].DBFS, pcm.DB(1e-5), 0.5)
	near(t, "line", c.Spurs[0].DBFS, pcm.DB(3e-6), 1)
}
