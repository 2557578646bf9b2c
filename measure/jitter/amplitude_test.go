package jitter_test

import (
	"math"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
)

// flickering is a capture whose reference voltage is noisy: parts per million of amplitude noise that falls as 1/f up to 1 kHz.
func flickering(ppm float64, seed int) jittertest.Capture {
	c := base()
	c.CarrierHz, c.Seed = 12000.2, uint64(seed)
	c.Flicker, c.FlickerLowHz, c.FlickerHighHz = ppm*1e-6, 0.2, 1000
	return c
}

// Amplitude noise does not lower the jitter, neither in its own band nor elsewhere. The errors allow for what is not known
// of the additive noise under it, so that they are larger than the scatter.
func TestAmplitudeNoiseIsNotTakenFromJitter(t *testing.T) {
	const captures = 3
	for _, ppm := range []float64{1, 3, 30} {
		mean := 0.0
		for seed := range captures {
			c := flickering(ppm, seed)
			c.RandomPs, c.RandomLowHz, c.RandomHighHz = 20, 10, 9600
			r := measureClips(t, jitter.Config{}, c)
			ch := r.Channel[0]
			mean += ch.RandomPs / captures
			if !(math.Abs(ch.RandomPs-20) < 2*ch.RandomSEPs) || ch.RandomSEPs > 1.5 {
				t.Errorf("%v ppm: random %.2f ± %.2f ps, want 20", ppm, ch.RandomPs, ch.RandomSEPs)
			}
			if len(r.Details) != 1 || r.Details[0].Code != jitter.AmplitudeNoise || math.Abs(r.Details[0].Value-10) > 0.5 {
				t.Errorf("%v ppm: warnings %q", ppm, r.Texts)
			}
		}
		// Three captures scatter by 0.06 ps; the tail of the amplitude noise that is not recognised takes less than that.
		if math.Abs(mean-20) > 0.2 {
			t.Errorf("%v ppm: %.3f ps on average, want 20", ppm, mean)
		}
	}
}

// The same where the jitter, too, lies at low frequencies, under the amplitude noise or above it.
func TestAmplitudeNoiseUnderLowJitter(t *testing.T) {
	for _, ppm := range []float64{1, 3} {
		c := flickering(ppm, 1)
		c.Seconds = 20
		c.RandomPs, c.RandomLowHz, c.RandomHighHz = 20, 10, 100
		ch := measureClips(t, jitter.Config{}, c).Channel[0]
		if b := ch.RandomBands[0]; !(math.Abs(b.Ps-20) < 3*b.SEPs) || b.SEPs > 1 || !(math.Abs(ch.RandomPs-20) < 2*ch.RandomSEPs) {
			t.Errorf("%v ppm: %.2f ± %.2f ps below 100 Hz and %.2f ± %.2f ps in all, want 20", ppm, b.Ps, b.SEPs, ch.RandomPs, ch.RandomSEPs)
		}
	}
}

// Without jitter none is found, and the limit allows for all of the phase noise under the amplitude noise being jitter.
func TestLimitUnderAmplitudeNoise(t *testing.T) {
	for seed := range 3 {
		ch := measureClips(t, jitter.Config{}, flickering(3, seed)).Channel[0]
		under := ch.RawPs * math.Sqrt(990./9590)
		if !ch.RandomAtFloor || ch.RandomLimitPs < 0.95*under || ch.RandomLimitPs > 1.3*under {
			t.Errorf("limit %.2f ps, at floor %v; the phase noise below 1 kHz is %.2f ps", ch.RandomLimitPs, ch.RandomAtFloor, under)
		}
	}
	// Amplitude noise in all the band leaves nothing to read the additive noise from: the limit is the phase noise itself.
	c := flickering(300, 1)
	c.RandomPs, c.RandomLowHz, c.RandomHighHz, c.FlickerHighHz = 20, 10, 9600, 11900
	if ch := measureClips(t, jitter.Config{}, c).Channel[0]; !ch.RandomAtFloor || ch.RandomLimitPs < ch.RawPs || ch.RandomLimitPs > 1.01*ch.RawPs {
		t.Errorf("%.2f ps, limit %.2f, want the phase noise of %.2f ps as limit", ch.RandomPs, ch.RandomLimitPs, ch.RawPs)
	}
}

// A level that settles by 0.09 dB after the start is amplitude noise below some ten hertz.
func TestASettlingLevelIsNotTakenFromJitter(t *testing.T) {
	c := base()
	c.CarrierHz = 12000.5 // hardly anything that folds is left over
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 20, 10, 9600
	clip := jittertest.Clip(c)
	for i := range clip.Channels[0] {
		clip.Channels[0][i] *= 1 + 0.01*math.Exp(-float64(i)/48000/0.3)
	}
	r, err := jitter.Measure(clip, jitter.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if ch := r.Channel[0]; !(math.Abs(ch.RandomPs-20) < 3*ch.RandomSEPs) || ch.RandomSEPs > 0.2 {
		t.Errorf("random %.2f ± %.2f ps, want 20; warnings %q", ch.RandomPs, ch.RandomSEPs, r.Texts)
	}
}

// Amplitude noise that two channels share, of one reference voltage, leaves the jitter that they share alone.
func TestSharedAmplitudeNoiseLeavesSharedJitter(t *testing.T) {
	a := flickering(3, 1)
	a.RandomPs, a.RandomLowHz, a.RandomHighHz = 20, 10, 9600
	a.NoiseDBFS = 0
	clip := jittertest.Clip(a, a)
	for c, noise := range []jittertest.Capture{{Seed: 5}, {Seed: 6}} {
		noise.Rate, noise.Seconds, noise.CarrierHz, noise.NoiseDBFS = 48000, 6, 1, -120
		for i, v := range noise.Samples() {
			clip.Channels[c][i] += v
		}
	}
	r, err := jitter.Measure(clip, jitter.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if c := r.Common; !(math.Abs(c.RandomPs-20) < 2*c.SEPs) || math.Abs(c.Correlation-1) > 0.02 {
		t.Errorf("common %+v, want 20 ps", c)
	}
}

// Few captures of noise alone, or with jitter, are said to have amplitude noise, and the figures are as they were.
func TestOrdinaryNoiseIsNoAmplitudeNoise(t *testing.T) {
	captures := 4
	if *full {
		captures = 200
	}
	warned := 0
	var z scatter
	mean := 0.0
	for seed := range captures {
		clip := pcm.Clip{Rate: 48000}
		for k := range 4 {
			c := base()
			c.CarrierHz, c.Seed = 12000.2, uint64(1000*k+seed)
			c.RandomPs, c.RandomLowHz, c.RandomHighHz = 10*float64(k), 10, 9600
			clip.Channels = append(clip.Channels, c.Samples())
		}
		r, err := jitter.Measure(clip, jitter.Config{})
		if err != nil {
			t.Fatal(err)
		}
		warned += len(r.Texts)
		for k, ch := range r.Channel[1:] {
			z.add((ch.RandomPs - 10*float64(k+1)) / ch.RandomSEPs)
			mean += z[len(z)-1]
		}
	}
	mean /= float64(len(z))
	n := float64(len(z))
	t.Logf("%d warnings in %d channels; errors over standard errors: mean %.3f, %.3f RMS", warned, 4*captures, mean, z.rms())
	// One channel in 800 by chance. The mean scatters by 1/√n, the RMS by 1/√2n.
	if warned > 1+captures/50 || math.Abs(mean) > 4/math.Sqrt(n) || math.Abs(z.rms()-1) > 4/math.Sqrt(2*n) {
		t.Errorf("%d warnings in %d channels; errors over standard errors: mean %.3f, %.3f RMS", warned, 4*captures, mean, z.rms())
	}
}

// Bounds hold with amplitude noise, and figures their truth, also where that noise falls below the additive noise and cannot be seen any more.
func TestBoundsHoldUnderAmplitudeNoise(t *testing.T) {
	seeds := 4
	if *full {
		seeds = 40
	}
	seen := coverages{}
	for _, ppm := range []float64{0.3, 1} {
		for _, ps := range []float64{3, 10} {
			for seed := range seeds {
				c := flickering(ppm, seed)
				c.Seconds, c.CarrierHz = 4, 12000*(1+40e-6+float64(seed%8)*1e-6)
				c.FlickerHighHz, c.NoiseDBFS = 20000, -125+5*float64(seed%3)
				c.RandomPs, c.RandomLowHz, c.RandomHighHz = ps, 10, 9600
				ch := measureClips(t, jitter.Config{}, c).Channel[0]
				if want := c.RandomIn(10, 9600); ch.RandomAtFloor {
					seen.held("bound", ch.RandomLimitPs, want)
				} else {
					seen.add(t, "random", ch.RandomPs, ch.RandomSEPs, want)
				}
				for _, b := range ch.RandomBands {
					if b.AtFloor {
						seen.held("bound of a decade", b.LimitPs, c.RandomIn(b.LowHz, b.HighHz))
					}
				}
			}
		}
	}
	seen.check(t, []string{"bound", "bound of a decade", "random"})
}
