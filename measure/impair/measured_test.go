package impair_test

import (
	"math"
	"math/cmplx"
	"testing"

	"heardiff/measure/impair"
	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/measure/match"
	"heardiff/measure/spectrum"
	measuretone "heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// Doses are measured back by what measures captures: several kinds at once, each within 1 % or three standard errors.
func TestJitterDosesAreMeasuredBack(t *testing.T) {
	in := jittertest.Clip(jittertest.Capture{Rate: 48000, Seconds: 12, CarrierHz: 12000.03, Amplitude: 0.7, NoiseDBFS: -130, Seed: 1})
	periodic := []struct{ hz, rmsPS float64 }{{60, 50}, {1000.5, 200}, {4321, 20}}
	// The second begins and ends inside the band that is measured: its sharp edges must not pass for lines.
	for _, random := range []struct{ rmsPS, low, high float64 }{{500, 5, 9900}, {100, 1000, 3000}} {
		d := impair.Dose{Seed: 3, Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: random.rmsPS, LowHz: random.low, HighHz: random.high}}}
		for _, p := range periodic {
			d.Jitter = append(d.Jitter, impair.Jitter{Kind: impair.Periodic, RMSPS: p.rmsPS, FreqHz: p.hz})
		}
		out, _ := apply(t, in, d)
		r, err := jitter.Measure(out.Slice(4800, out.Len()-4800), jitter.Config{LowHz: 10, HighHz: 9600})
		if err != nil {
			t.Fatal(err)
		}
		ch := r.Channel[0]
		want := random.rmsPS * math.Sqrt((math.Min(9600, random.high)-math.Max(10, random.low))/(random.high-random.low))
		t.Logf("random %.2f ± %.2f ps, want %.2f", ch.RandomPs, ch.RandomSEPs, want)
		if e := math.Abs(ch.RandomPs - want); !(e <= max(0.01*want, 3*ch.RandomSEPs)) {
			t.Errorf("random %.2f ± %.2f ps, want %.2f", ch.RandomPs, ch.RandomSEPs, want)
		}
		if len(ch.Lines) != len(periodic) {
			t.Errorf("random jitter from %v to %v Hz: %d lines, want %d: %+v", random.low, random.high, len(ch.Lines), len(periodic), ch.Lines)
		}
		for _, p := range periodic {
			found, want := jitter.Line{PeakPs: math.NaN()}, math.Sqrt2*p.rmsPS
			for _, l := range ch.Lines {
				if math.Abs(l.OffsetHz-p.hz) < 0.02 {
					found = l
				}
			}
			t.Logf("%v Hz: peak %.3f ± %.3f ps, want %.3f", p.hz, found.PeakPs, found.PeakSEPs, want)
			if !(math.Abs(found.PeakPs-want) <= max(0.01*want, 3*found.PeakSEPs)) {
				t.Errorf("%v Hz: peak %.3f ± %.3f ps, want %.3f", p.hz, found.PeakPs, found.PeakSEPs, want)
			}
		}
	}
}

// A dose up to 20 kHz, on a tone at exactly a quarter of the rate whose samples it meets at 45°, folds into the amplitude from 12 kHz on. The
// density within the band is still the dose's, and not that less what has folded.
func TestADoseThatFoldsIsMeasuredBack(t *testing.T) {
	in := jittertest.Clip(jittertest.Capture{Rate: 48000, Seconds: 12, CarrierHz: 12000, PhaseDegrees: 45, Amplitude: 0.7, NoiseDBFS: -130, Seed: 1})
	out, _ := apply(t, in, impair.Dose{Seed: 4, Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: 100, LowHz: 10, HighHz: 20000}}})
	r, err := jitter.Measure(out.Slice(4800, out.Len()-4800), jitter.Config{LowHz: 10, HighHz: 9600})
	if err != nil {
		t.Fatal(err)
	}
	if ch, want := r.Channel[0], 100*math.Sqrt(9590./19990); !(math.Abs(ch.RandomPs-want) < 0.01*want) {
		t.Errorf("random %.2f ± %.2f ps, want %.2f", ch.RandomPs, ch.RandomSEPs, want)
	}
}

func TestNoiseAndHumDosesAreMeasuredBack(t *testing.T) {
	in := pcm.NewClip(48000, 1, 12*48000)
	d := impair.Dose{Seed: 5, Noise: []impair.Noise{{DBFS: -90}}, Hum: []impair.Hum{{FreqHz: 50, DBFS: -80, Harmonics: 3}}}
	out, _ := apply(t, in, d)
	r, err := measuretone.Noise(out, nil)
	if err != nil {
		t.Fatal(err)
	}
	noise := math.Pow(10, -9) * (20000 - 20) / 24000.0
	hum := 1e-8 * (1 + 0.25 + 0.0625)
	// 1 % is 0.086 dB; chance leaves 4.34/√(20 kHz · 12 s) = 0.01 dB.
	if got, want := r.Channel[0].UnweightedDBFS, pcm.PowerDB(noise+hum); math.Abs(got-want) > 0.086 {
		t.Errorf("noise and hum %.3f dBFS, want %.3f", got, want)
	}
	for i, want := range []float64{-80, -80 - 6.0206, -80 - 12.0412} {
		if i >= len(r.Channel[0].Hum) {
			t.Errorf("%d lines of hum, want three", i)
			break
		}
		if l := r.Channel[0].Hum[i]; math.Abs(l.DBFS-want) > 0.086 || math.Abs(l.Hz-50*float64(i+1)) > 0.1 {
			t.Errorf("hum %.2f Hz, %.3f dBFS; want %d Hz, %.3f", l.Hz, l.DBFS, 50*(i+1), want)
		}
	}
}

// White noise has twice the power in each next octave, pink noise the same: ref: the definition of either.
func TestNoiseHasItsColour(t *testing.T) {
	in := pcm.NewClip(48000, 1, 20*48000)
	for colour, step := range map[impair.Colour]float64{impair.White: 10 * math.Log10(2), impair.Pink: 0} {
		out, _ := apply(t, in, impair.Dose{Seed: 6, Noise: []impair.Noise{{DBFS: -40, Colour: colour}}})
		const n = 1 << 15
		plan, power := spectrum.NewPlan(n), make([]float64, n/2+1)
		for from := 0; from+n <= out.Len(); from += n {
			for k, z := range plan.Forward(nil, out.Channels[0][from:from+n]) {
				power[k] += real(z * cmplx.Conj(z))
			}
		}
		octave := func(hz float64) (sum float64) {
			for k := int(math.Ceil(hz * n / 48000)); float64(k)*48000/n < 2*hz; k++ {
				sum += power[k]
			}
			return pcm.PowerDB(sum)
		}
		for hz := 160.0; hz < 6000; hz *= 2 {
			// Chance: 4.34·√(1/(160 Hz · 20 s)) = 0.08 dB for the lowest octave, and whole bins at its ends 0.04.
			if got := octave(2*hz) - octave(hz); math.Abs(got-step) > 0.3 {
				t.Errorf("%v: from %v Hz on the next octave has %+.2f dB, want %+.2f", colour, hz, got, step)
			}
		}
	}
}

// Gain, delay and drift are measured back by the matching of captures.
func TestGainDelayAndDriftAreMeasuredBack(t *testing.T) {
	const rate = 32000
	noise, _ := apply(t, pcm.NewClip(rate, 1, 8*rate), impair.Dose{Seed: 8, Noise: []impair.Noise{{DBFS: -20, Colour: impair.Pink}}})
	for _, d := range []impair.Dose{{GainDB: -1.5, DelaySamples: 123.4, DriftPPM: 20}, {GainDB: 0.05, DelaySamples: -40.25, DriftPPM: -150}} {
		out, _ := apply(t, noise, d)
		r, err := match.Compare(noise, out)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.GainDB-d.GainDB) > 0.002 || math.Abs(r.OffsetSamples-d.DelaySamples) > 0.005 || math.Abs(r.DriftPPM-d.DriftPPM) > 0.02 {
			t.Errorf("%.4f dB, %.4f samples, %.4f ppm; want %+v", r.GainDB, r.OffsetSamples, r.DriftPPM, d)
		}
	}
}

// Everything that moves a sample, against the closed form of the moved signal: a chord up to 0.9 of Nyquist.
func TestImagesAndInterpolationErrorAreBelow140(t *testing.T) {
	const rate, tones = 48000, 24
	at := func(s float64) (v float64) {
		for k := range tones {
			hz := 30 * math.Pow(0.9*24000/30, float64(k)/(tones-1))
			v += 0.9 / tones * math.Sin(2*math.Pi*hz*s+float64(k*k))
		}
		return v
	}
	in := pcm.NewClip(rate, 1, rate/2)
	for i := range in.Len() {
		in.Channels[0][i] = at(float64(i) / rate)
	}
	d := impair.Dose{DelaySamples: -0.37, DriftPPM: 99, Jitter: []impair.Jitter{{Kind: impair.Periodic, RMSPS: 1e6, FreqHz: 1234}}}
	out, _ := apply(t, in, d)
	worst := 0.0
	for i := 2000; i < out.Len()-2000; i++ {
		s := float64(i) / rate
		tau := math.Sqrt2 * 1e-6 * math.Sin(2*math.Pi*1234*s)
		worst = max(worst, math.Abs(out.Channels[0][i]-at((s+0.37/rate)/(1+99e-6)+tau)))
	}
	if pcm.DB(worst) > -140 {
		t.Errorf("off by %.1f dBFS, want below −140", pcm.DB(worst))
	}
	t.Logf("off by %.1f dBFS", pcm.DB(worst))
}
