package demo

import (
	"math"
	"testing"

	"heardiff/playback/pcm"
)

func TestMusicIsMusicLike(t *testing.T) {
	c := Music(48000, 12, 1)
	peak, sum, onsets, last := 0.0, 0.0, 0, 0.0
	const hop = 480
	for i := 0; i+hop <= c.Len(); i += hop {
		power := 0.0
		for _, v := range c.Channels[0][i : i+hop] {
			peak = max(peak, math.Abs(v))
			power += v * v
		}
		sum += power
		if power > 4*last && power > 1e-3*hop {
			onsets++
		}
		last = power
	}
	level := pcm.PowerDB(sum / float64(c.Len()))
	if peak > pcm.Ratio(-3)+1e-12 || level < -28 || level > -14 || onsets < 8 {
		t.Errorf("peak %.3f, level %.1f dB, %d onsets in 12 s", peak, level, onsets)
	}
	again := Music(48000, 12, 1)
	for i, v := range c.Channels[1] {
		if again.Channels[1][i] != v {
			t.Fatal("the same seed gives another piece")
		}
	}
}

// The ear must be what its comment says: right as often as the differencing model of ABX predicts.
//
//	p = Φ(d/√2)Φ(d/√6) + Φ(−d/√2)Φ(−d/√6)
//
// ref: Macmillan and Creelman, Detection Theory, 2005: at d′ = 1 the proportion correct is 0.58248.
func TestEarFollowsTheModel(t *testing.T) {
	a := pcm.NewClip(48000, 1, 256)
	b := pcm.NewClip(48000, 1, 256)
	for i := range a.Len() {
		a.Channels[0][i] = math.Sin(float64(i))
		b.Channels[0][i] = a.Channels[0][i] * (1 + pcm.Ratio(-40)) // the difference is 40 dB below
	}
	const n = 40_000
	ear, right := NewEar(-40, 5), 0
	for i := range n {
		x, isA := a, i%2 == 0
		if !isA {
			x = b
		}
		if ear.PickX(a, b, x) == isA {
			right++
		}
	}
	if got, want := float64(right)/n, 0.58248; math.Abs(got-want) > 4*math.Sqrt(0.24/n) {
		t.Errorf("right in %.4f of the trials, the model says %.4f", got, want)
	}
}

func TestEarIsDeafToTheSameAudio(t *testing.T) {
	a := Music(48000, 3, 1)
	ear, different := NewEar(-60, 5), 0
	for range 2000 {
		if ear.SeemDifferent(a, a) {
			different++
		}
	}
	// P(|√2·z| > 2.17) = 2Φ(−1.53442) = 0.1249; four standard errors
	if got := float64(different) / 2000; math.Abs(got-0.1249) > 0.0296 {
		t.Errorf("the same pair seemed different in %.3f of the trials", got)
	}
}

// The ear learns which sound is the clean one from what every trial has, however often the first dose comes again, and on either side.
func TestEarFindsTheCleanSound(t *testing.T) {
	dosed := func(db float64) pcm.Clip {
		c := pcm.NewClip(48000, 1, 256)
		for i := range c.Len() {
			c.Channels[0][i] = math.Sin(float64(i)) * (1 + pcm.Ratio(db))
		}
		return c
	}
	clean := dosed(math.Inf(-1))
	plain, other := dosed(-20), dosed(-22)
	for order := range 2 {
		ear := NewEar(-60, uint64(order))
		pick := func(d pcm.Clip) int {
			if order == 0 {
				return ear.PickDose(d, clean)
			}
			return 1 - ear.PickDose(clean, d)
		}
		for range 4 {
			pick(plain)
		}
		wrong := 0
		for range 20 {
			wrong += pick(other) + pick(plain)
		}
		if wrong > 4 { // d′ 4: wrong with probability Φ(−4/√2) = 0.0023
			t.Errorf("order %d: %d of 40 plain doses missed", order, wrong)
		}
	}
}
