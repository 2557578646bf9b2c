package match_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// periodic returns ten seconds of 24-bit audio, two channels alike, from what one frame holds.
func periodic(of func(frame int) float64) pcm.Clip {
	c := pcm.NewClip(48000, 2, 480000)
	for i := range c.Len() {
		v := math.Round(of(i)*(1<<23)) / (1 << 23)
		c.Channels[0][i], c.Channels[1][i] = v, v
	}
	return c
}

func sine(hz, phase float64) func(int) float64 {
	return func(i int) float64 { return 0.5 * math.Sin(2*math.Pi*hz*float64(i)/48000+phase) }
}

// bars returns noise that repeats after so many frames.
func bars(frames int) func(int) float64 {
	r := rand.New(rand.NewPCG(1, uint64(frames)))
	noise := make([]float64, frames)
	for i := range noise {
		noise[i] = 0.1 * r.NormFloat64()
	}
	return func(i int) float64 { return noise[i%frames] }
}

// A file compared with itself has no offset, and where it is periodic it is said to fit elsewhere, too.
func TestAPeriodicSignalIsInPlaceAgainstItself(t *testing.T) {
	for name, of := range map[string]func(int) float64{
		"quarter of the rate": sine(12000, 0), "997 Hz": sine(997, 0), "1 kHz": sine(1000, 0), "23 kHz": sine(23000, 0), "10 Hz": sine(10, 0),
		"jitter signal": func(i int) float64 { return sine(12000, math.Pi/4)(i) - float64(i/96%2)/(1<<23) },
		"direct":        func(int) float64 { return 0.3 },
		"loop of 10 ms": bars(480), "of 0.2 s": bars(11136), "of 3 s": bars(144000), "of 5 s": bars(240000),
	} {
		t.Run(name, func(t *testing.T) {
			c := periodic(of)
			r, err := match.Compare(c, c)
			if err != nil {
				t.Fatal(err)
			}
			if r.OffsetSamples != 0 || r.DriftPPM != 0 || r.GainDB != 0 || !r.Identical || r.Polarity != match.Same {
				t.Errorf("offset %v, drift %v, gain %v, identical %v, %s", r.OffsetSamples, r.DriftPPM, r.GainDB, r.Identical, r.Polarity)
			}
			if !r.Warned(match.OtherAlignment) {
				t.Errorf("confidence %v, no doubt: %q", r.Confidence, r.Texts)
			}
		})
	}
	m := newMusic(7, 10, 20000).capture(48000, 480000, way{})
	r, err := match.Compare(m, m)
	if err != nil || !(r.Confidence > 0.99) || len(r.Texts) > 0 {
		t.Errorf("music against itself: confidence %v, %q, %v", r.Confidence, r.Texts, err)
	}
}

// A steady tone in two phases may be placed half a period off, inverted, but never without a gain.
func TestTonesInAnyPhaseHaveAGain(t *testing.T) {
	for _, hz := range []float64{12000, 997, 6000} {
		r, err := match.Compare(periodic(sine(hz, 0)), periodic(sine(hz, 0.3)))
		if err != nil {
			t.Errorf("%v Hz: %v", hz, err)
			continue
		}
		if !(math.Abs(r.GainDB) < 0.001) {
			t.Errorf("%v Hz: gain %v dB", hz, r.GainDB)
		}
		if !r.Warned(match.OtherAlignment) {
			t.Errorf("%v Hz: offset %v, confidence %v, no doubt: %q", hz, r.OffsetSamples, r.Confidence, r.Texts)
		}
	}
}

// A copy of a tone made softer leaves only rounding, which can be negative: the null is deep, and known.
func TestAToneMadeSofterHasANull(t *testing.T) {
	const gain = 0.7
	a, b := periodic(sine(12000, 0)), periodic(func(i int) float64 { return gain * sine(12000, 0)(i) })
	r, err := match.Compare(a.Slice(0, 4*48000), b.Slice(0, 4*48000))
	if err != nil || !(r.NullDB < -140) || math.IsNaN(r.StandardErrors.GainDB) || !(math.Abs(r.GainDB-pcm.DB(gain)) < 1e-4) {
		t.Errorf("null %v dB, gain %v ± %v dB, %v", r.NullDB, r.GainDB, r.StandardErrors.GainDB, err)
	}
}
