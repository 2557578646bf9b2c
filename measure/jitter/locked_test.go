package jitter_test

import (
	"math"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
)

// White jitter of the recorder's clock folds back. Samples between the tone's zeros and peaks, at 45°, take what is folded for
// amplitude and find none; samples on the zeros find √2 too much. With locked clocks that is said, and the limit holds.
func TestFoldedJitterOfLockedClocksIsSaid(t *testing.T) {
	const inBand = 31.6135 // 50·√(9590/23990)
	for _, degrees := range []float64{0, 20, 45, 70, 90} {
		c := whiteClock()
		c.CarrierHz, c.PhaseDegrees = 12000, degrees
		r := measureClips(t, jitter.Config{}, c)
		if len(r.Texts) != 1 || !r.Warned(jitter.LockedClocks) {
			t.Errorf("%v°: warnings %q", degrees, r.Texts)
		}
		ch := r.Channel[0]
		if ch.RawPs < 0.98*inBand || ch.RandomAtFloor && ch.RandomLimitPs < ch.RawPs {
			t.Errorf("%v°: limit %.2f ps, phase noise %.2f; the band holds %.2f", degrees, ch.RandomLimitPs, ch.RawPs, inBand)
		}
		if at := ch.RandomAtFloor; degrees == 45 && !at {
			t.Errorf("at 45° folded jitter hides what is not: %.2f ps", ch.RandomPs)
		}
		if b := ch.RandomBands[2]; b.AtFloor && b.LimitPs < 0.98*math.Sqrt(9000./23990)*50 {
			t.Errorf("%v°: limit %.2f ps from 1 kHz on", degrees, b.LimitPs)
		}
	}
}

// Jitter with additive noise, with locked clocks: whatever the angle, and whether some of it folds or none, the errors and the limits hold
// what is there, in the whole band, in each decade and between the channels. The share of a decade is that of a flat density.
func TestErrorsHoldWhatFolds(t *testing.T) {
	for _, degrees := range []float64{0, 25, 33, 45, 80} {
		for _, high := range []float64{9600, 20000, 24000} {
			c := base()
			c.CarrierHz, c.PhaseDegrees, c.NoiseDBFS = 12000, degrees, -112
			c.RandomPs, c.RandomLowHz, c.RandomHighHz = 60, 10, high
			other := c
			other.Amplitude = 0.5 // the same jitter and the same noise, for the seed is the same
			r := measureClips(t, jitter.Config{}, c, other)
			density := c.RandomPs / math.Sqrt(high-10)
			holds := func(what string, ps, se, limit float64, atFloor bool, want float64) {
				t.Logf("%v°, to %v Hz, %s: %.2f ± %.2f ps, limit %.2f, want %.2f", degrees, high, what, ps, se, limit, want)
				if !atFloor && math.Abs(ps-want) > 3*se || atFloor && limit < want {
					t.Errorf("%v°, to %v Hz, %s: %.2f ± %.2f ps, limit %.2f, want %.2f", degrees, high, what, ps, se, limit, want)
				}
			}
			ch, common := r.Channel[0], r.Common
			whole := density * math.Sqrt(9590)
			holds("all", ch.RandomPs, ch.RandomSEPs, ch.RandomLimitPs, ch.RandomAtFloor, whole)
			if degrees == 45 && high == 20000 && !(math.Abs(ch.RandomPs-whole) < 0.03*whole) {
				t.Errorf("%.2f ps, want %.2f: what folds is counted apart from what does not, and from additive noise", ch.RandomPs, whole)
			}
			holds("common", common.RandomPs, common.SEPs, common.LimitPs, common.AtFloor, whole)
			for _, b := range ch.RandomBands {
				holds("a decade", b.Ps, b.SEPs, b.LimitPs, b.AtFloor, density*math.Sqrt(b.HighHz-b.LowHz))
			}
		}
	}
}

// A carrier that slides by little in the capture leaves some of what folds: the error says so where it is more than 1.5 %. After a
// period and a quarter, five whole turns of κ, that is for the window alone.
func TestErrorsHoldWhatASlowSlideLeaves(t *testing.T) {
	for _, c := range []struct {
		periods float64
		said    bool
	}{{0.3, true}, {0.45, true}, {0.8, false}, {1.25, true}, {2.25, false}, {4.25, false}} {
		w := whiteClock()
		w.CarrierHz, w.RandomPs, w.NoiseDBFS = 12000+c.periods/w.Seconds, 250, -112
		want := 250 * math.Sqrt(9590./23990)
		least := 0.0
		if !c.said {
			least = 0.015 * want
		}
		if ch := measureClips(t, jitter.Config{}, w).Channel[0]; !(math.Abs(ch.RandomPs-want) < max(least, 3*ch.RandomSEPs)) || ch.RandomSEPs > 0.05*want {
			t.Errorf("%v periods: %.2f ± %.2f ps, want %.2f", c.periods, ch.RandomPs, ch.RandomSEPs, want)
		} else {
			t.Logf("%v periods: %.2f ± %.2f ps, want %.2f", c.periods, ch.RandomPs, ch.RandomSEPs, want)
		}
	}
}

// What a faster slide leaves is less, and counts all the more where the noise is low.
func TestErrorsHoldWhatAFasterSlideLeaves(t *testing.T) {
	for _, periods := range []float64{3.0, 3.15, 3.3} {
		w := whiteClock()
		w.Seconds, w.CarrierHz = 10, 12000+periods/10
		w.RandomPs = 250
		want := w.RandomIn(10, 9600)
		if ch := measureClips(t, jitter.Config{}, w).Channel[0]; !(math.Abs(ch.RandomPs-want) < 3*ch.RandomSEPs) || ch.RandomSEPs > 0.01*want {
			t.Errorf("%v periods: %.2f ± %.2f ps, want %.2f", periods, ch.RandomPs, ch.RandomSEPs, want)
		}
	}
}

// Clocks that differ share it out evenly: it cancels, and there is nothing to warn of.
func TestFoldedJitterOfTwoClocksCancels(t *testing.T) {
	c := whiteClock()
	c.CarrierHz = 12000.5 // 2·0.5 Hz·6 s are six whole turns
	r := measureClips(t, jitter.Config{}, c)
	if ch := r.Channel[0]; math.Abs(ch.RandomPs-31.6135) > 4*ch.RandomSEPs || len(r.Texts) != 0 {
		t.Errorf("random %.2f ± %.2f ps, want 31.61; warnings %q", ch.RandomPs, ch.RandomSEPs, r.Texts)
	}
}

// whiteClock is 50 ps of white sampling jitter from 10 Hz to half the rate.
func whiteClock() jittertest.Capture {
	c := base()
	c.NoiseDBFS = -150
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 50, 10, 24000
	return c
}

// What two channels share folds in both.
func TestFoldedJitterOfLockedClocksBoundsWhatIsShared(t *testing.T) {
	a := whiteClock()
	a.CarrierHz, a.PhaseDegrees = 12000, 45
	b := a
	b.Amplitude = 0.5
	if c := measureClips(t, jitter.Config{}, a, b).Common; !c.AtFloor || c.LimitPs < 31 {
		t.Errorf("common %+v, 31.6 ps are there", c)
	}
}
