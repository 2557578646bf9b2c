package impair_test

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"testing"

	"heardiff/measure/impair"
	"heardiff/playback/pcm"
)

func apply(t testing.TB, in pcm.Clip, d impair.Dose) (pcm.Clip, impair.Done) {
	t.Helper()
	out := pcm.Clip{Rate: in.Rate, Channels: make([][]float64, len(in.Channels))}
	done, err := impair.Apply(t.Context(), in, d, func(block [][]float64) error {
		for c, ch := range block {
			out.Channels[c] = append(out.Channels[c], ch...)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out, done
}

func tone(rate pcm.Rate, frames int, hz float64) pcm.Clip {
	c := pcm.NewClip(rate, 1, frames)
	for i := range frames {
		c.Channels[0][i] = 0.5 * math.Sin(2*math.Pi*math.Mod(hz*float64(i)/rate.Hz(), 1))
	}
	return c
}

// line returns the amplitude at hz over the whole seconds of x, under a Hann window.
func line(x []float64, rate, hz float64) float64 {
	var z complex128
	for i, v := range x {
		v *= 1 - math.Cos(2*math.Pi*float64(i)/float64(len(x)))
		z += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*math.Mod(hz*float64(i)/rate, 1))
	}
	return 2 * cmplx.Abs(z) / float64(len(x))
}

// The middle second is measured, clear of the ends, where the interpolator meets silence.
func middle(c pcm.Clip) []float64 { return c.Channels[0][c.Rate : 2*c.Rate] }

func TestZeroDoseReturnsTheInputBitExact(t *testing.T) {
	in := tone(44100, 50000, 997)
	for _, d := range []impair.Dose{{}, {Jitter: []impair.Jitter{{Kind: impair.Random}, {Kind: impair.Periodic, FreqHz: 1000}}, Seed: 4}} {
		out, _ := apply(t, in, d)
		for i, v := range out.Channels[0] {
			if v != in.Channels[0][i] {
				t.Fatalf("frame %d: %v became %v", i, in.Channels[0][i], v)
			}
		}
	}
}

// ref: one sideband of sinusoidal jitter is at 20·log10(π·f0·Jpk) dBc (small angles), any text on sampling
// jitter; Dunn and Hawksford, AES 93rd Convention 1992, give −71 dB for 10 ns peak on 10 kHz.
func TestPeriodicJitterHasTheSidebandsOfTheFormula(t *testing.T) {
	for _, c := range []struct{ f0, fj, rmsPS float64 }{{12000, 1000, 1000}, {10000, 250, 1e4}, {1000, 60, 100}, {20000, 1500, 10}} {
		in := tone(48000, 3*48000, c.f0)
		out, _ := apply(t, in, impair.Dose{Jitter: []impair.Jitter{{Kind: impair.Periodic, RMSPS: c.rmsPS, FreqHz: c.fj}}})
		want := math.Pi * c.f0 * math.Sqrt2 * c.rmsPS * 1e-12
		for _, side := range []float64{-1, 1} {
			got := line(middle(out), 48000, c.f0+side*c.fj) / 0.5
			if math.Abs(got/want-1) > 0.01 {
				t.Errorf("%v: sideband %.2f dBc, want %.2f", c, pcm.DB(got), pcm.DB(want))
			}
		}
	}
}

// ref: random jitter σ on a tone f0 leaves a remainder 2π·f0·σ below it (RMS over RMS), any converter text.
func TestRandomJitterHasTheDoseAndTheBand(t *testing.T) {
	in := tone(48000, 3*48000, 12000)
	d := impair.Dose{Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: 5000, LowHz: 100, HighHz: 4000}}, Seed: 9}
	out, done := apply(t, in, d)
	sum := 0.0
	for i := 2000; i < out.Len()-2000; i++ {
		e := out.Channels[0][i] - in.Channels[0][i]
		sum += e * e
	}
	got := math.Sqrt(sum/float64(out.Len()-4000)) / (0.5 / math.Sqrt2)
	want := 2 * math.Pi * 12000 * 5000e-12
	// The tone samples τ at four phases only; the remainder's own scatter is 1/√(2·B·T) = 0.6 %.
	if math.Abs(got/want-1) > 0.01 {
		t.Errorf("remainder %.3f of the tone, want %.3f", got, want)
	}
	if math.Abs(done.JitterRMSPS/5000-1) > 1e-9 {
		t.Errorf("applied %.3f ps RMS", done.JitterRMSPS)
	}
	inside, outside := 0.0, 0.0
	for hz := 200.0; hz < 3900; hz += 37 {
		inside += math.Pow(line(middle(out), 48000, 12000+hz), 2)
		outside += math.Pow(line(middle(out), 48000, 12000+hz+4000), 2)
	}
	if r := pcm.PowerDB(outside / inside); r > -60 {
		t.Errorf("outside the band %.1f dB of the inside", r)
	}
}

func TestNoiseHasTheLevelAndTheColour(t *testing.T) {
	in := pcm.NewClip(48000, 2, 5*48000)
	for _, c := range []impair.Colour{impair.White, impair.Pink} {
		out, _ := apply(t, in, impair.Dose{Noise: []impair.Noise{{DBFS: -60, Colour: c}}, Seed: 2})
		for k, ch := range out.Channels {
			sum := 0.0
			for _, v := range ch {
				sum += v * v
			}
			if got := pcm.DBFS(math.Sqrt(sum / float64(len(ch)))); math.Abs(got+60) > 1e-6 {
				t.Errorf("%v, channel %d: %.4f dBFS", c, k+1, got)
			}
		}
		dot := 0.0
		for i, v := range out.Channels[0] {
			dot += v * out.Channels[1][i]
		}
		if r := dot / float64(in.Len()) / math.Pow(pcm.RMSOf(-60), 2); math.Abs(r) > 0.05 {
			t.Errorf("%v: channels correlate by %.3f", c, r)
		}
	}
}

func TestDelayAndDriftAgreeWithClosedForm(t *testing.T) {
	const rate = 48000
	in := tone(rate, 3*rate, 1234.5)
	d := impair.Dose{DelaySamples: 10.37, DriftPPM: 150, GainDB: -6}
	out, _ := apply(t, in, d)
	worst := 0.0
	for i := rate; i < 2*rate; i++ {
		at := (float64(i) - 10.37) / (1 + 150e-6)
		want := pcm.Ratio(-6) * 0.5 * math.Sin(2*math.Pi*1234.5*at/rate)
		worst = math.Max(worst, math.Abs(out.Channels[0][i]-want))
	}
	if pcm.DB(worst) > -140 {
		t.Errorf("off by %.1f dBFS, want below −140", pcm.DB(worst))
	}
}

func TestSameSeedSameResult(t *testing.T) {
	in := tone(48000, 60000, 997)
	d := impair.Dose{Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: 1e4}}, Noise: []impair.Noise{{DBFS: -80}}, Seed: 7}
	one, _ := apply(t, in, d)
	two, _ := apply(t, in, d)
	d.Seed = 8
	other, _ := apply(t, in, d)
	same := 0
	for i, v := range one.Channels[0] {
		if v != two.Channels[0][i] {
			t.Fatalf("frame %d differs with the same seed", i)
		}
		if v == other.Channels[0][i] {
			same++
		}
	}
	if same > 100 {
		t.Errorf("%d frames alike with another seed", same)
	}
}

func TestDoseOutOfRangeIsRefused(t *testing.T) {
	for _, d := range []impair.Dose{
		{Jitter: []impair.Jitter{{RMSPS: 1}}},
		{Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: -1}}},
		{Jitter: []impair.Jitter{{Kind: impair.Random, LowHz: 10, HighHz: 30000}}},
		{Jitter: []impair.Jitter{{Kind: impair.Periodic, RMSPS: 1}}},
		{Noise: []impair.Noise{{DBFS: math.NaN()}}},
		{Hum: []impair.Hum{{FreqHz: 50, DBFS: 3}}},
		{GainDB: math.Inf(1)}, {DelaySamples: math.NaN()}, {DriftPPM: 1e6},
	} {
		if err := d.Validate(48000); err == nil {
			t.Errorf("%+v was accepted", d)
		}
	}
	sine := func(ps float64) []impair.Jitter {
		return []impair.Jitter{{Kind: impair.Periodic, RMSPS: ps, FreqHz: 1000}}
	}
	largest := impair.Dose{Jitter: sine(1e9), GainDB: 120, DelaySamples: -1e9, DriftPPM: 10000}
	if err := largest.Validate(48000); err != nil {
		t.Errorf("the largest doses: %v", err)
	}
	for _, d := range []impair.Dose{{Jitter: sine(1.01e9)}, {GainDB: 121}, {DelaySamples: -1.01e9}, {DriftPPM: 10100}} {
		if err := d.Validate(48000); err == nil {
			t.Errorf("%+v was accepted", d)
		}
	}
}

func BenchmarkApply(b *testing.B) {
	in := pcm.NewClip(96000, 2, 10*96000)
	d := impair.Dose{Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: 1000}, {Kind: impair.Periodic, RMSPS: 10, FreqHz: 60}}, Noise: []impair.Noise{{DBFS: -110}}}
	for b.Loop() {
		apply(b, in, d)
	}
	b.ReportMetric(10*float64(b.N)/b.Elapsed().Seconds(), "x-real-time")
}

// endless is silence without an end.
type endless struct{}

func (endless) Format() pcm.Format                                { return pcm.Format{Rate: 48000, Channels: 1, Bits: 24} }
func (endless) Frames() int                                       { return math.MaxInt }
func (endless) ReadFrames(dst [][]float64, from int) (int, error) { return len(dst[0]), nil }

// Random components are generated once before the first block, to scale them: that stops on an interrupt, too.
func TestAnInterruptIsHeededBeforeTheFirstBlock(t *testing.T) {
	stopped, stop := context.WithCancel(context.Background())
	stop()
	_, err := impair.Apply(stopped, endless{}, impair.Dose{Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: 100}}}, func([][]float64) error {
		t.Error("a block was written")
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}
