package jitter_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
)

// The mains do not keep their frequency, and jitter that follows them does not either: harmonics of 50 Hz whose clock
// strays by some 10 mHz are still one line each, in phase and in amplitude, in a short capture and in a long one that is
// cut into records, and reach no higher together than they do.
func TestLinesThatFollowTheMainsAreOneEach(t *testing.T) {
	const rate, amplitude = 48000, 0.6
	random := rand.New(rand.NewPCG(50, 1))
	type mains struct{ seconds, hz, slow float64 }
	wanders := []mains{{12, 0.03, 0.31}, {40, 0.02, 0.2}}
	if *full {
		wanders = append(wanders, mains{12, 0.003, 0.31}, mains{40, 0.01, 0.07})
	}
	for _, c := range wanders {
		x := make([]float64, int(c.seconds*rate))
		for i := range x {
			t := float64(i) / rate
			mains := 2*math.Pi*50*t + c.hz/c.slow*math.Sin(2*math.Pi*c.slow*t+1) + 0.4*c.hz/c.slow*math.Sin(2*math.Pi*2.7*c.slow*t+2)
			tau := 100e-12*math.Sin(2*mains) + 50e-12*math.Sin(6*mains+1) + 30e-12*math.Sin(12*mains+2)
			am := 1 + 2e-5*math.Sin(2*mains+0.5) + 2e-5*math.Sin(20*mains)
			x[i] = amplitude*am*math.Sin(2*math.Pi*12000*(t+tau)) + 1e-6*random.NormFloat64()
		}
		for _, longest := range []int{1 << 22, int(c.seconds * rate / 2 / 2.5)} {
			r, err := jitter.MeasureIn(pcm.Clip{Rate: rate, Channels: [][]float64{x}}, jitter.Config{}, longest)
			if err != nil {
				t.Fatal(err)
			}
			ch := r.Channel[0]
			// One per cent: 0.1 dB. A line that is not quite spread yet is read up to that much too low.
			if len(ch.Lines) != 3 || math.Abs(ch.DeterministicPsPP/360-1) > 0.0116 || math.Abs(ch.DeterministicPs/81.85-1) > 0.0116 {
				t.Errorf("%+v in records of %d: %d lines, %.1f ps RMS, %.1f ps peak to peak, want 3 of 81.9 and 360: %+v", c, longest, len(ch.Lines), ch.DeterministicPs, ch.DeterministicPsPP, ch.Lines)
			}
			if len(ch.AMLines) != 2 {
				t.Errorf("%+v in records of %d: %d lines of amplitude, want 2: %+v", c, longest, len(ch.AMLines), ch.AMLines)
				continue
			}
			for _, l := range ch.AMLines {
				if math.Abs(l.DepthDBc+100) > 0.2 || l.OneSided != 0 {
					t.Errorf("%+v in records of %d: amplitude line %+v, want −100 dBc on both sides", c, longest, l)
				}
			}
			if !ch.RandomAtFloor && ch.RandomPs > 3 {
				t.Errorf("%+v in records of %d: %.2f ps of random jitter, there is none", c, longest, ch.RandomPs)
			}
		}
	}
}

// However much or little a line wanders, its level is that of all its pieces. A line hardly spread, which would lose a hundredth
// where the window's lobe is taken for whole, is read as well as any.
func TestTheLevelOfAWanderingLineIsItsOwn(t *testing.T) {
	const rate, seconds, want = 48000, 12, 100.
	for _, c := range []struct{ hz, slow float64 }{{0.006, 0.07}, {0.06, 0.07}, {0.6, 0.07}, {0.02, 0.2}, {0.2, 0.2}, {0.02, 0.31}} {
		random := rand.New(rand.NewPCG(50, 2))
		x := make([]float64, int(seconds*rate))
		for i := range x {
			t := float64(i) / rate
			phase := 2*math.Pi*300*t + c.hz/c.slow*math.Sin(2*math.Pi*c.slow*t+1)
			x[i] = 0.6*math.Sin(2*math.Pi*12000*(t+want*1e-12*math.Sin(phase))) + 1e-6*random.NormFloat64()
		}
		r, err := jitter.Measure(pcm.Clip{Rate: rate, Channels: [][]float64{x}}, jitter.Config{})
		if err != nil {
			t.Fatal(err)
		}
		ch := r.Channel[0]
		if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].PeakPs/want-1) > 0.0015 {
			t.Errorf("%+v: want one line of %g ps, got %+v", c, want, ch.Lines)
		}
	}
}

// A line whose frequency strays by any amount, from less than a bin of the record to thousands, is one line of its own power, said to wander,
// and leaves the random jitter alone.
func TestALineIsOneAtAnyWander(t *testing.T) {
	type wander struct{ rms, fast float64 }
	cases := []wander{{0.1, 0.3}, {1, 3}, {20, 0.3}, {150, 3}}
	if *full {
		cases = nil
		for _, rms := range []float64{0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 10, 20, 50, 150} {
			cases = append(cases, wander{rms, 0.3}, wander{rms, 3})
		}
	}
	for _, w := range cases {
		c := base()
		c.Seconds, c.CarrierHz, c.Seed = 10, 12000.7, uint64(1000*w.rms)
		c.RandomPs, c.RandomLowHz, c.RandomHighHz = 10, 10, 20000
		c.Wandering = []jittertest.Wander{{Hz: 3000, RMSHz: w.rms, SlowHz: 0.05, FastHz: w.fast, Jitter: []jittertest.Sine{{Hz: 1, Peak: 40e-12}}}}
		r := measureClips(t, jitter.Config{}, c)
		ch := r.Channel[0]
		if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].PeakPs-40) > max(4*ch.Lines[0].PeakSEPs, 0.002*40) {
			t.Errorf("%+v: lines %+v, want one of 40 ps", w, ch.Lines)
			continue
		}
		// In 10 s few slow swings of the frequency are seen.
		if got := ch.Lines[0].WanderHz; w.rms >= 0.1 && (got < w.rms/2 || got > 2*w.rms || !r.Warned(jitter.WanderingLines)) {
			t.Errorf("%+v: strays by %.3g Hz; warnings %q", w, got, r.Texts)
		}
		if want := c.RandomIn(10, 9600); math.Abs(ch.RandomPs-want) > 4*ch.RandomSEPs || ch.RandomSEPs > 0.2 {
			t.Errorf("%+v: random %.2f ± %.2f ps, want %.2f", w, ch.RandomPs, ch.RandomSEPs, want)
		}
	}
}

// A steady line within the stretch over which another wanders is a line of its own, and both are read right.
func TestASteadyLineWithinAWanderingOneIsFound(t *testing.T) {
	c := base()
	c.Seconds, c.CarrierHz, c.Seed = 10, 12000.7, 5
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 10, 10, 20000
	c.Wandering = []jittertest.Wander{{Hz: 3000, RMSHz: 20, SlowHz: 0.05, FastHz: 3, Jitter: []jittertest.Sine{{Hz: 1, Peak: 40e-12}}}}
	c.Jitter = []jittertest.Sine{{Hz: 3011, Peak: 20e-12}}
	ch := measureClips(t, jitter.Config{}, c).Channel[0]
	if len(ch.Lines) != 2 {
		t.Fatalf("lines %+v, want two", ch.Lines)
	}
	for _, l := range ch.Lines {
		if want := map[bool]float64{true: 40, false: 20}[l.WanderHz > 0]; math.Abs(l.PeakPs-want) > 4*l.PeakSEPs {
			t.Errorf("%+v, want %v ps", l, want)
		}
	}
}

// The same of amplitude modulation, and of a tone on one side of the carrier, which are no jitter.
func TestWhatWandersAndIsNoJitterIsNone(t *testing.T) {
	c := base()
	c.Seconds = 10
	c.Wandering = []jittertest.Wander{
		{Hz: 2000, RMSHz: 8, SlowHz: 0.05, FastHz: 3, AM: []jittertest.Sine{{Hz: 1, Peak: 2e-5}}},
		{Hz: 5000, RMSHz: 8, SlowHz: 0.05, FastHz: 3, Added: []jittertest.Sine{{Hz: -1, Peak: 0.7e-5}}},
	}
	ch := measureClips(t, jitter.Config{}, c).Channel[0]
	if len(ch.Lines) != 0 || len(ch.AMLines) != 2 {
		t.Fatalf("lines %+v and %+v, want none and two", ch.Lines, ch.AMLines)
	}
	for _, l := range ch.AMLines {
		want := jitter.AMLine{OffsetHz: 2000}
		if l.OffsetHz > 4000 {
			want = jitter.AMLine{OffsetHz: 5000, OneSided: -1}
		}
		if math.Abs(l.OffsetHz-want.OffsetHz) > 10 || math.Abs(l.DepthDBc+100) > 0.1 || l.OneSided != want.OneSided {
			t.Errorf("%+v, want %+v of −100 dBc", l, want)
		}
	}
}

// The part of a wandering line's skirt that is too weak to be found as a piece of the line is not random jitter.
func TestTheSkirtOfAWanderingLineIsNoRandomJitter(t *testing.T) {
	c := base()
	c.RandomPs, c.RandomLowHz, c.RandomHighHz, c.NoiseDBFS, c.Seed = 50, 10, 9600, -125, 6
	without := measureClips(t, jitter.Config{}, c).Channel[0].RandomBands[1]
	c.Wandering = []jittertest.Wander{{Hz: 50, RMSHz: 0.019, SlowHz: 0.02, FastHz: 0.3, Jitter: []jittertest.Sine{{Hz: 6, Peak: 1600e-12}}}}
	with := measureClips(t, jitter.Config{}, c).Channel[0].RandomBands[1]
	t.Logf("%.3f ps, %.3f ± %.3f without the line", with.Ps, without.Ps, without.SEPs)
	if math.Abs(with.Ps-without.Ps) > without.SEPs/2 {
		t.Errorf("%.3f ps, %.3f ± %.3f without the line", with.Ps, without.Ps, without.SEPs)
	}
}
