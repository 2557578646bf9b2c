package clock_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"heardiff/measure"
	"heardiff/measure/clock"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
)

// at returns the Allan deviation, intervalAt the interval, at an observation time.
func at(t *testing.T, list []clock.Deviation, tau float64) clock.Deviation {
	t.Helper()
	return observed(t, list, tau, func(d clock.Deviation) float64 { return d.TauS })
}

func intervalAt(t *testing.T, list []clock.Interval, tau float64) clock.Interval {
	t.Helper()
	return observed(t, list, tau, func(d clock.Interval) float64 { return d.TauS })
}

func observed[T any](t *testing.T, list []T, tau float64, tauOf func(T) float64) T {
	t.Helper()
	i := slices.IndexFunc(list, func(d T) bool { return math.Abs(tauOf(d)/tau-1) < 0.01 })
	if i < 0 {
		t.Fatalf("nothing at %v s among %v", tau, list)
	}
	return list[i]
}

// The simulator's clock drifts linearly: f₀·(1 + d·(t/T − ½)), so its offset is the carrier's, its drift d/T, its Allan deviation
// (d/T)·τ/√2, and its MTIE over τ, with the offset taken out, the largest excursion of a parabola.
func TestOffsetAndDriftComeBack(t *testing.T) {
	for _, c := range []struct {
		rate       pcm.Rate
		signal     float64
		offset     float64 // ppm
		drift      float64 // ppm over the capture
		wantSecond float64
	}{
		{48000, 48000, 0, 0, 30},
		{44100, 44100, 37.25, 4, 30},
		{96000, 48000, -150, -2, 20},
		{192000, 44100, 640, 1, 10},
	} {
		carrier := c.signal / 4 * (1 + 1e-6*c.offset)
		capture := jittertest.Capture{Rate: c.rate, Seconds: c.wantSecond, CarrierHz: carrier, Amplitude: 0.7, DriftPPM: c.drift, NoiseDBFS: -110, Seed: 9}
		r, err := clock.Measure(jittertest.Clip(capture), clock.Config{})
		if err != nil {
			t.Fatal(err)
		}
		ch := r.Channel[0]
		perS := c.drift / c.wantSecond
		// Noise of −110 dBFS in 10 Hz moves the time of a 12 kHz carrier by some picoseconds: 10⁻⁶ ppm over ten seconds. The last
		// interval may not be full: the middle of what is measured is up to 10 ms from the capture's.
		if math.Abs(ch.OffsetPPM-c.offset) > 2e-5+0.01*math.Abs(perS) {
			t.Errorf("%d Hz: offset %.6f ppm, want %.6f", c.rate, ch.OffsetPPM, c.offset)
		}
		if math.Abs(ch.DriftPPMPerS-perS) > 2e-5+1e-3*math.Abs(perS) {
			t.Errorf("%d Hz: drift %.6f ppm/s, want %.6f", c.rate, ch.DriftPPMPerS, perS)
		}
		if c.drift == 0 {
			continue
		}
		if got, want := at(t, ch.Allan, 2).Deviation, 1e-6*math.Abs(perS)*2/math.Sqrt2; math.Abs(got/want-1) > 0.01 {
			t.Errorf("%d Hz: Allan deviation at 2 s %v, want %v", c.rate, got, want)
		}
	}
}

// A sway x = p·sin(2πft) has, over whole periods, an Allan deviation of 2p·sin²(πfτ)/τ and an MTIE of 2p once τ holds half a period.
func TestASwayComesBack(t *testing.T) {
	const peak, hz = 3e-9, 0.5
	capture := jittertest.Capture{Rate: 48000, Seconds: 60, CarrierHz: 12000, Amplitude: 0.7, Jitter: []jittertest.Sine{{Hz: hz, Peak: peak}}}
	r, err := clock.Measure(jittertest.Clip(capture), clock.Config{})
	if err != nil {
		t.Fatal(err)
	}
	ch := r.Channel[0]
	for _, tau := range []float64{0.1, 0.5, 1, 5} {
		s := math.Sin(math.Pi * hz * tau)
		want := 2 * peak * s * s / tau
		if got := at(t, ch.Allan, tau).Deviation; math.Abs(got-want) > 0.02*want {
			t.Errorf("Allan deviation at %v s: %v, want %v", tau, got, want)
		}
	}
	if got := intervalAt(t, ch.MTIE, 1).NS; math.Abs(got/(2e9*peak)-1) > 0.02 {
		t.Errorf("MTIE at 1 s %v ns, want %v", got, 2e9*peak)
	}
}

// frequencyNoise returns a clip of a carrier whose frequency is white noise, steps of σ parts each interval, so that its Allan
// deviation at τ is σ·√(interval/τ) (random walk of time: NIST SP 1065, section 3.2).
func frequencyNoise(rate pcm.Rate, seconds float64, sigma float64, seed uint64) pcm.Clip {
	random := rand.New(rand.NewPCG(seed, 21))
	clip := pcm.NewClip(rate, 1, int(seconds*rate.Hz()))
	x, step := 0.0, sigma/rate.Hz()
	for i := range clip.Channels[0] {
		turns := math.Mod(float64(i)/4, 1)
		clip.Channels[0][i] = 0.7 * math.Sin(2*math.Pi*(turns+rate.Hz()/4*x))
		x += step * random.NormFloat64()
	}
	return clip
}

// The stated errors match the scatter: 60 clocks with white noise of frequency, at three observation times.
func TestErrorsOfTheAllanDeviationHold(t *testing.T) {
	const rate, seconds, sigma, runs = 8000 * 4, 20, 1e-6, 60
	want := func(tau float64) float64 { return sigma * math.Sqrt(1/(rate*tau)) }
	square, within, count := 0.0, 0, 0
	for seed := range uint64(runs) {
		r, err := clock.Measure(frequencyNoise(rate, seconds, sigma, seed), clock.Config{})
		if err != nil {
			t.Fatal(err)
		}
		for _, tau := range []float64{0.5, 1, 2} {
			d := at(t, r.Channel[0].Allan, tau)
			z := (d.Deviation - want(tau)) / d.SE
			square, count = square+z*z, count+1
			if math.Abs(z) < 2 {
				within++
			}
		}
	}
	if rms := math.Sqrt(square / float64(count)); rms < 0.8 || rms > 1.25 {
		t.Errorf("Allan deviations scatter by %.2f of their stated errors", rms)
	}
	p := float64(within) / float64(count)
	t.Logf("%.1f %% of %d Allan deviations within two stated errors", 100*p, count)
	if math.Abs(p-0.95) > 0.03 {
		t.Errorf("%.0f %% of %d Allan deviations within two stated errors", 100*p, count)
	}
}

// Additive noise alone is at its own limit, and a real wander far above it is not.
func TestNoiseAloneIsMarked(t *testing.T) {
	quiet := jittertest.Capture{Rate: 48000, Seconds: 20, CarrierHz: 12000.2, Amplitude: 0.7, NoiseDBFS: -80, Seed: 4}
	sway := quiet
	sway.Jitter = []jittertest.Sine{{Hz: 0.7, Peak: 50e-9}}
	r, err := clock.Measure(jittertest.Clip(quiet, sway), clock.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if d := at(t, r.Channel[0].Allan, 0.5); !d.AtFloor {
		t.Errorf("noise alone is taken for a clock: %+v", d)
	}
	if d := at(t, r.Channel[1].Allan, 0.5); d.AtFloor {
		t.Errorf("a sway of 50 ns is taken for noise: %+v", d)
	}
}

func TestFloorRaisesLimits(t *testing.T) {
	capture := jittertest.Capture{Rate: 48000, Seconds: 10, CarrierHz: 12000, Amplitude: 0.7, Jitter: []jittertest.Sine{{Hz: 1, Peak: 1e-9}}}
	r, err := clock.Measure(jittertest.Clip(capture), clock.Config{})
	if err != nil {
		t.Fatal(err)
	}
	same := r
	same.Channel = append([]clock.Channel(nil), r.Channel...)
	if err := r.SetFloor(same); err != nil {
		t.Fatal(err)
	}
	if d := at(t, r.Channel[0].Allan, 0.5); !d.AtFloor || d.Limit != d.Deviation {
		t.Errorf("a capture against itself as its floor: %+v", d)
	}
	other := same
	other.RateHz = 96000
	if r.SetFloor(other) == nil {
		t.Error("a floor of another rate was taken")
	}
}

func TestLostSamplesAreSaid(t *testing.T) {
	clip := jittertest.Clip(jittertest.Capture{Rate: 48000, Seconds: 10, CarrierHz: 12000.1, Amplitude: 0.7, NoiseDBFS: -110, Seed: 2})
	whole := clip.Channels[0]
	clip.Channels[0] = append(append([]float64(nil), whole[:240000]...), whole[240001:]...)
	r, err := clock.Measure(clip, clock.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Details) != 1 || r.Details[0].Code != clock.TimeJump || math.Abs(r.Details[0].FromS-5) > 0.2 ||
		r.Details[0].Value > 20.8 || r.Details[0].Value < 10.4 { // 20.8 µs, of which the filter leaves what passes it in 0.02 s
		t.Errorf("one sample lost, warnings %q", r.Texts)
	}
}

func TestWhatIsNoJitterSignalIsRefused(t *testing.T) {
	tone := func(hz, seconds float64) pcm.Clip {
		return jittertest.Clip(jittertest.Capture{Rate: 48000, Seconds: seconds, CarrierHz: hz, Amplitude: 0.5})
	}
	for _, c := range []struct {
		name string
		clip pcm.Clip
		want error
	}{
		{"silence", pcm.NewClip(48000, 2, 480000), clock.ErrNoTone},
		{"another tone", tone(997, 5), clock.ErrNoTone},
		{"one second", tone(12000, 1), clock.ErrShort},
		{"nothing", pcm.NewClip(48000, 1, 0), clock.ErrNoTone},
	} {
		if _, err := clock.Measure(c.clip, clock.Config{}); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
}

// Silence before and after the tone, and a channel without one.
func TestSilenceAroundTheToneIsLeftOut(t *testing.T) {
	tone := jittertest.Clip(jittertest.Capture{Rate: 48000, Seconds: 10, CarrierHz: 12000.6, Amplitude: 0.5}).Channels[0]
	clip := pcm.NewClip(48000, 2, 48000*14)
	copy(clip.Channels[1][48000:], tone)
	r, err := clock.Measure(clip, clock.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if got := r.Channel[1].OffsetPPM; math.Abs(got-50) > 0.01 {
		t.Errorf("offset %v ppm, want 50", got)
	}
	if !math.IsNaN(r.Channel[0].OffsetPPM) || len(r.Texts) != 1 || !r.Warned(measure.NoSignal) {
		t.Errorf("a channel without a tone: %v, warnings %q", r.Channel[0].OffsetPPM, r.Texts)
	}
}

func BenchmarkMeasure(b *testing.B) {
	clip := jittertest.Clip(jittertest.Capture{Rate: 192000, Seconds: 60, CarrierHz: 48000, Amplitude: 0.7})
	clip.Channels = append(clip.Channels, clip.Channels[0])
	b.SetBytes(int64(2 * 8 * clip.Len()))
	for b.Loop() {
		if _, err := clock.Measure(clip, clock.Config{}); err != nil {
			b.Fatal(err)
		}
	}
}
