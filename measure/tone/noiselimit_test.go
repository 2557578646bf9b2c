package tone_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// noisyTones returns a capture of tones without any distortion, in noise.
func noisyTones(seed uint64, seconds int, noise float64, hz ...float64) pcm.Clip {
	const rate = 8000
	c := pcm.NewClip(rate, 1, seconds*rate)
	random := rand.New(rand.NewPCG(seed, 3))
	for i := range c.Channels[0] {
		v := noise * random.NormFloat64()
		for k, f := range hz {
			v += 0.4 * math.Cos(2*math.Pi*f*float64(i)/rate+float64(k))
		}
		c.Channels[0][i] = v
	}
	return c
}

// The limits are what noise reaches once in twenty times.
func TestNoiseReachesItsLimitOnceInTwentyTimes(t *testing.T) {
	runs := 25
	if *full {
		runs = 600
	}
	var harmonics, thd, imd, all int
	for seed := range uint64(runs) {
		r, err := tone.Measure(noisyTones(seed, 20, 1e-4, 311))
		must(t, err)
		for _, h := range r.Channel[0].Harmonics {
			all++
			if h.DBC > h.LimitDBC {
				harmonics++
			}
		}
		if r.Channel[0].THDDB > r.Channel[0].THDLimitDB {
			thd++
		}
		w, err := tone.TwoTone(noisyTones(seed, 20, 1e-4, 211, 1700))
		must(t, err)
		if w.Channel[0].IMDDB > w.Channel[0].IMDLimitDB {
			imd++
		}
	}
	within := func(what string, count, of int, low, high float64) {
		t.Helper()
		sigma := math.Sqrt(0.05 * 0.95 / float64(of))
		if p := float64(count) / float64(of); p < low-3*sigma || p > high+3*sigma {
			t.Errorf("%s: noise exceeds its limit in %d of %d", what, count, of)
		}
		t.Logf("%s: noise exceeds its limit in %d of %d", what, count, of)
	}
	within("harmonics", harmonics, all, 0.05, 0.05)
	within("THD", thd, runs, 0.02, 0.05) // THD's and IMD's are a little too high
	within("IMD", imd, runs, 0, 0.05)
}

// A line below a capture's own noise is not measured, however low the set-up's noise is.
func TestNoDistortionIsMeasuredInTheCapturesOwnNoise(t *testing.T) {
	measured, all := 0, 0
	for seed := range uint64(10) {
		r, err := tone.Measure(noisyTones(seed, 8, 1e-4, 311))
		must(t, err)
		floor, err := tone.Measure(noisyTones(seed+100, 8, 1e-7, 311))
		must(t, err)
		must(t, r.SetFloor(floor))
		w, err := tone.TwoTone(noisyTones(seed, 8, 1e-4, 211, 1700))
		must(t, err)
		quiet, err := tone.TwoTone(noisyTones(seed+100, 8, 1e-7, 211, 1700))
		must(t, err)
		must(t, w.SetFloor(quiet))
		for _, l := range append(r.Channel[0].Limits, w.Channel[0].Limits...) {
			distortion := l.Figure == "thd_db" || l.Figure == "imd_db" || strings.HasPrefix(l.Figure, "harmonics") || strings.HasPrefix(l.Figure, "products")
			if !distortion {
				continue
			}
			all++
			if l.Standing == "measured" {
				measured++
				t.Logf("seed %d: %s is %q with a limit of %.1f", seed, l.Figure, l.Standing, l.Limit)
			}
		}
		own := limitNamed(t, r.Channel[0].Limits, "thd_db")
		near(t, "THD's limit", own.Limit, r.Channel[0].THDLimitDB, 1e-9)
		near(t, "IMD's limit", limitNamed(t, w.Channel[0].Limits, "imd_db").Limit, w.Channel[0].IMDLimitDB, 1e-9)
		for k, h := range r.Channel[0].Harmonics {
			near(t, "a harmonic's limit", limitNamed(t, r.Channel[0].Limits, fmt.Sprintf("harmonics[%d].dbc", k)).Limit, h.LimitDBC, 1e-9)
		}
	}
	// By F with 2 and 14 degrees of freedom, 6 in 1000 lie more than 3 dB above what one in twenty exceeds.
	if measured > 5 {
		t.Errorf("%d of %d figures of noise are measured ones", measured, all)
	}
}
