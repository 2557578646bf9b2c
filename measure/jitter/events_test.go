package jitter_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"heardiff/measure"
	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// jittery is a capture of 20 ps of random jitter.
func jittery() jittertest.Capture {
	c := base()
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 20, 10, 9600
	return c
}

// ticking measures a capture with something added to single samples.
func ticking(t *testing.T, c jittertest.Capture, tick float64, at ...int) jitter.Result {
	t.Helper()
	clip := jittertest.Clip(c)
	for _, i := range at {
		clip.Channels[0][i] += tick
	}
	r, err := jitter.Measure(clip, jitter.Config{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// warnedOf reports whether there is a warning of a code with a value, near a time in the capture.
func warnedOf(r jitter.Result, code warning.Code, value, at float64) bool {
	return slices.ContainsFunc(r.Details, func(w warning.Warning) bool {
		return w.Code == code && math.Abs(w.Value-value) < 0.1*math.Abs(value) && math.Abs(w.FromS-at) < 0.006
	})
}

// only reports whether that is the only warning.
func only(r jitter.Result, code warning.Code, value, at float64) bool {
	return len(r.Details) == 1 && warnedOf(r, code, value, at)
}

func ticked(r jitter.Result) bool { return r.Warned(jitter.Ticks) || r.Warned(jitter.TicksKept) }

// One sample that is wrong, where it is read as phase, as amplitude or as both, is named and leaves the figures as they were.
func TestATickIsNamedAndLeftOut(t *testing.T) {
	for _, line := range []float64{0, 5e-9} {
		c := jittery()
		if line > 0 {
			c.Jitter = []jittertest.Sine{{Hz: 7001, Peak: line}}
		}
		want := ticking(t, c, 0).Channel[0]
		for k, tick := range []float64{1e-4, 1e-3, 1e-3, 1e-2} {
			r := ticking(t, c, tick, 150000+k)
			ch := r.Channel[0]
			// Some 9 ms of 6 s are left out: the noise in them is a thousandth, and scatters by a 25th of a standard error.
			if math.Abs(ch.RandomPs-want.RandomPs) > 0.3*ch.RandomSEPs || ch.RandomSEPs > 1.01*want.RandomSEPs {
				t.Errorf("a tick of %g: %.3f ± %.3f ps, %.3f without it", tick, ch.RandomPs, ch.RandomSEPs, want.RandomPs)
			}
			if !only(r, jitter.Ticks, 1, 3.125) {
				t.Errorf("a tick of %g: warnings %q", tick, r.Texts)
			}
			if len(ch.Lines) != len(want.Lines) || math.Abs(ch.DeterministicPs-want.DeterministicPs) > 0.002*want.DeterministicPs {
				t.Errorf("a tick of %g: lines %+v", tick, ch.Lines)
			}
		}
	}
}

// A tick loud enough to hide the lines and to fill the low end of the band hides nothing once it is left out.
func TestLinesBehindALoudTickAreFound(t *testing.T) {
	c := jittery()
	c.Jitter = []jittertest.Sine{{Hz: 101, Peak: 20e-12}, {Hz: 1001, Peak: 8e-12}}
	want := ticking(t, c, 0).Channel[0]
	if len(want.Lines) != 2 {
		t.Fatalf("without a tick: lines %+v, want two", want.Lines)
	}
	for _, tick := range []float64{0.03, 0.1, 0.5} {
		ch := ticking(t, c, tick, 150000).Channel[0]
		if len(ch.Lines) != 2 || math.Abs(ch.DeterministicPs-want.DeterministicPs) > 0.005*want.DeterministicPs {
			t.Errorf("a tick of %g: lines %+v, without it %+v", tick, ch.Lines, want.Lines)
		}
		for i, b := range ch.RandomBands {
			if w := want.RandomBands[i]; math.Abs(b.Ps-w.Ps) > 0.5*w.SEPs {
				t.Errorf("a tick of %g, from %.0f Hz: %.3f ps, %.3f ± %.3f without it", tick, b.LowHz, b.Ps, w.Ps, w.SEPs)
			}
		}
	}
}

// A tick that rings for some milliseconds, as of a relay, is one, too.
func TestARingingTickIsLeftOut(t *testing.T) {
	clip := jittertest.Clip(jittery())
	for i := range 2000 {
		clip.Channels[0][150000+i] += 0.01 * math.Exp(-float64(i)/50) * math.Sin(2*math.Pi*12100/48000*float64(i))
	}
	r, err := jitter.Measure(clip, jitter.Config{})
	if err != nil || !only(r, jitter.Ticks, 1, 3.13) {
		t.Fatalf("warnings %q, error %v", r.Texts, err)
	}
	if ch := r.Channel[0]; math.Abs(ch.RandomPs-20) > 4*ch.RandomSEPs {
		t.Errorf("random %.3f ± %.3f ps, want 20", ch.RandomPs, ch.RandomSEPs)
	}
}

func TestSeveralTicksAreCounted(t *testing.T) {
	at := []int{30000, 90000, 91000, 200000}
	r := ticking(t, jittery(), 0.01, at...)
	if ch := r.Channel[0]; math.Abs(ch.RandomPs-20) > 3*ch.RandomSEPs {
		t.Errorf("random %.3f ± %.3f ps, want 20", ch.RandomPs, ch.RandomSEPs)
	}
	if !only(r, jitter.Ticks, 4, 0.625) {
		t.Errorf("warnings %q, want 4 ticks, the first at 0.625 s", r.Texts)
	}
	at = nil
	for i := 1000; i < 288000; i += 1000 {
		at = append(at, i+i%777)
	}
	r = ticking(t, jittery(), 0.001, at...)
	if !r.Warned(jitter.TicksKept) {
		t.Errorf("a tick every 20 ms: warnings %q", r.Texts)
	}
}

// The time of a tick is the capture's, whatever the record and the silence before it.
func TestTicksAreTimedInTheCapture(t *testing.T) {
	c := jittery()
	c.Seconds = 10
	clip := jittertest.Clip(c)
	clip.Channels[0] = append(make([]float64, 48000), clip.Channels[0]...)
	clip.Channels[0][48000*7] += 0.01
	r, err := jitter.MeasureIn(clip, jitter.Config{}, 80000)
	if err != nil || !warnedOf(r, jitter.Ticks, 1, 7.005) {
		t.Errorf("warnings %q, error %v, want a tick at 7 s", r.Texts, err)
	}
}

// A sample lost or repeated is a step of the phase by 2π·f₀/rate, however slowly the filter lets it rise.
func TestALostSampleIsNamedAtEveryRate(t *testing.T) {
	for _, rate := range []pcm.Rate{48000, 96000, 176400, 192000, 384000} {
		for _, lost := range []int{1, -1} {
			c := jittery()
			c.Rate, c.Seconds, c.CarrierHz = rate, 5, 12000.5
			if rate == 176400 {
				c.CarrierHz = 11025.5
			}
			clip := jittertest.Clip(c)
			x, at := clip.Channels[0], int(2.3*rate.Hz())
			clip.Channels[0] = append(x[:at:at], x[at+lost:]...)
			r, err := jitter.Measure(clip, jitter.Config{HighHz: 8800, LowHz: 10})
			if err != nil {
				t.Fatal(err)
			}
			if !warnedOf(r, jitter.LostBlock, float64(lost), 2.3) {
				t.Errorf("%d Hz, %d lost: warnings %q", rate, lost, r.Texts)
			}
		}
	}
}

// A clock that is corrected all at once is jitter, and no tick.
func TestASteppingClockIsNamed(t *testing.T) {
	c := jittery()
	clip, late := jittertest.Clip(c), c
	late.PhaseDegrees = 360 * c.CarrierHz * 3e-9
	after := late.Samples()
	copy(clip.Channels[0][144000:], after[144000:])
	r, err := jitter.Measure(clip, jitter.Config{})
	if err != nil || len(r.Details) != 1 || r.Details[0].Code != jitter.ClockStep {
		t.Fatalf("warnings %q, error %v, want one", r.Texts, err)
	}
	// The step's own low frequencies bend the trend, which a straight line follows to some percent.
	if w := r.Details[0]; math.Abs(w.Value-3) > 0.2 || math.Abs(w.FromS-3) > 0.01 {
		t.Errorf("warning %q, want a step of 3 ns at 3 s", w.Text)
	}
}

// Nothing stands out of steep noise, strong or smeared lines, and words without dither.
func TestOrdinaryCapturesHaveNoEvents(t *testing.T) {
	strong := jittery()
	strong.Jitter = []jittertest.Sine{{Hz: 9000, Peak: 1e-6}, {Hz: 60, Peak: 1e-6}, {Hz: 9400, Peak: 3e-9}}
	smeared := jittery()
	smeared.DriftPPM = 20
	smeared.Added = []jittertest.Sine{{Hz: 12000 + 8000, Peak: 1e-4}, {Hz: 12000 - 9500, Peak: 1e-4}}
	clean := base()
	clean.NoiseDBFS = 0
	captures := map[string][]float64{"strong": strong.Samples(), "smeared": smeared.Samples(), "exact": clean.Samples()}
	walk, random := 0.0, rand.New(rand.NewPCG(1, 9))
	steep := make([]float64, 288000)
	for i := range steep {
		walk += 1e-10 * random.NormFloat64()
		steep[i] = 0.7*math.Sin(2*math.Pi*12000.5*(float64(i)/48000+walk)) + 1e-6*random.NormFloat64()
	}
	captures["steep"] = steep
	words := clean.Samples()
	for i, v := range words {
		words[i] = math.Round(math.Ldexp(v, 23)) / (1 << 23)
	}
	captures["words"] = words
	for name, x := range captures {
		r, err := jitter.Measure(pcm.Clip{Rate: 48000, Channels: [][]float64{x}}, jitter.Config{})
		if err != nil || ticked(r) || r.Warned(jitter.LostBlock) || r.Warned(jitter.ClockStep) {
			t.Errorf("%s: warnings %q, error %v", name, r.Texts, err)
		}
	}
}

// Where the tone pauses, or a block is lost, the longest stretch that is whole is measured, and its figures are right.
func TestAnInterruptedToneIsMeasuredWhereItIsUnbroken(t *testing.T) {
	whole := func() pcm.Clip {
		c, d := jittery(), jittery()
		d.Seed = 2
		c.Seconds, d.Seconds = 8, 8
		return jittertest.Clip(c, d)
	}
	mute := func(channels []int, from, frames int) func(pcm.Clip) pcm.Clip {
		return func(c pcm.Clip) pcm.Clip {
			for _, ch := range channels {
				clear(c.Channels[ch][from : from+frames])
			}
			return c
		}
	}
	lose := func(at, frames int) func(pcm.Clip) pcm.Clip {
		return func(c pcm.Clip) pcm.Clip {
			for ch, x := range c.Channels {
				c.Channels[ch] = append(x[:at:at], x[at+frames:]...)
			}
			return c
		}
	}
	for name, c := range map[string]struct {
		change  func(pcm.Clip) pcm.Clip
		want    warning.Code
		at      float64 // when the first is
		seconds float64 // of what is whole, of which the filter and what folds take a few per cent
	}{
		"10 ms":            {mute([]int{0, 1}, 100000, 480), measure.Interrupted, 2.083, 5.85},
		"4 ms of one":      {mute([]int{1}, 300000, 200), measure.Interrupted, 6.25, 6.2},
		"half a second":    {mute([]int{0, 1}, 100000, 24000), measure.Interrupted, 2.083, 5.37},
		"a block lost":     {lose(100000, 1001), jitter.LostBlock, 2.083, 5.84},
		"two blocks lost":  {func(c pcm.Clip) pcm.Clip { return lose(300000, 65)(lose(50000, 1001)(c)) }, jitter.LostBlock, 1.041, 5.1},
		"lost and silence": {func(c pcm.Clip) pcm.Clip { return lose(300000, 65)(mute([]int{0, 1}, 50000, 480)(c)) }, measure.Interrupted, 1.041, 5.1},
	} {
		r, err := jitter.Measure(c.change(whole()), jitter.Config{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if i := slices.IndexFunc(r.Details, func(w warning.Warning) bool { return w.Code == c.want }); i < 0 || math.Abs(r.Details[i].FromS-c.at) > 0.01 {
			t.Errorf("%s: warnings %q, want %s at %v s", name, r.Texts, c.want, c.at)
		}
		if name == "a block lost" && len(r.Details) != 1 { // by both channels at the same time
			t.Errorf("%s: warnings %q", name, r.Texts)
		}
		if math.Abs(r.CarrierHz-12000.5) > 1e-4 || r.Seconds > c.seconds || r.Seconds < 0.94*c.seconds {
			t.Errorf("%s: carrier %.5f Hz, %.2f s", name, r.CarrierHz, r.Seconds)
		}
		for _, ch := range r.Channel {
			if math.Abs(ch.RandomPs-20) > 4*ch.RandomSEPs || len(ch.Lines) != 0 {
				t.Errorf("%s: %.2f ± %.2f ps, want 20; lines %+v", name, ch.RandomPs, ch.RandomSEPs, ch.Lines)
			}
		}
	}
}

// Large jitter without noise leaves squares of itself in the amplitude, whose peaks are no ticks.
func TestLargeJitterHasNoTicks(t *testing.T) {
	for _, ps := range []float64{1e4, 1e5, 3e5} {
		c := jittery()
		c.RandomPs, c.NoiseDBFS, c.Seconds = ps, -180, 10
		r := measureClips(t, jitter.Config{}, c)
		if ch := r.Channel[0]; len(r.Texts) != 0 || math.Abs(ch.RandomPs/ps-1) > 0.01 {
			t.Errorf("%g ps: read %.0f, warnings %q", ps, ch.RandomPs, r.Texts)
		}
	}
}

// White jitter of a clock folds back, and swings between phase and amplitude while the carrier slides against the samples: at its
// largest it is twice its mean, and no tick.
func TestFoldedJitterThatSwingsHasNoTicks(t *testing.T) {
	for _, slip := range []float64{0.03, 0.6, 3} { // Hz
		for seed := range uint64(3) {
			c := whiteClock()
			c.CarrierHz, c.Seconds, c.RandomPs, c.Seed = 12000+slip, 20, 400, seed
			if r := measureClips(t, jitter.Config{}, c); ticked(r) {
				t.Errorf("slipping by %v Hz, seed %d: %q", slip, seed, r.Texts)
			}
		}
	}
}
