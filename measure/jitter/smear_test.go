package jitter_test

import (
	"math"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
)

// A tone of the recorder's clock, with a carrier of another clock that drifts: its frequency is constant while the carrier's moves, and is
// spread over driftPPM·12 kHz next to it. The lines of jitter are of the capture's own time and stay sharp.
func TestToneBesideADriftingCarrierIsNoJitter(t *testing.T) {
	for _, drift := range []float64{0, 2, 10, -50, 200} {
		c := base()
		c.DriftPPM = drift
		c.Jitter = []jittertest.Sine{{Hz: 700, Peak: 400e-12}}
		c.AM = []jittertest.Sine{{Hz: 500, Peak: 1e-4}}
		c.Added = []jittertest.Sine{{Hz: c.CarrierHz + 3000, Peak: c.Amplitude * 1e-5}, {Hz: c.CarrierHz - 5000, Peak: c.Amplitude * 1e-5}}
		ch := measureClips(t, jitter.Config{}, c).Channel[0]
		if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].OffsetHz-700) > 0.01 {
			t.Errorf("drift %v ppm: %d jitter lines, want the one at 700 Hz", drift, len(ch.Lines))
		}
		want := []jitter.AMLine{{OffsetHz: 500, DepthDBc: -86.0206}, {OffsetHz: 3000, DepthDBc: -100, OneSided: 1}, {OffsetHz: 5000, DepthDBc: -100, OneSided: -1}}
		if len(ch.AMLines) != len(want) {
			t.Errorf("drift %v ppm: %d amplitude lines, want %d", drift, len(ch.AMLines), len(want))
			continue
		}
		for i, l := range ch.AMLines {
			// The centroid of a spread tone is uncertain by a part of its spread.
			within := 0.01 + 0.05*math.Abs(drift)*c.CarrierHz*1e-6
			if math.Abs(l.OffsetHz-want[i].OffsetHz) > within || math.Abs(l.DepthDBc-want[i].DepthDBc) > 0.15 || l.OneSided != want[i].OneSided {
				t.Errorf("drift %v ppm: amplitude line %+v, want %+v", drift, l, want[i])
			}
		}
	}
}

// A line of jitter ten bins from such a tone, and 10 dB weaker, stays one, and right. What else is left of the two, where one lies
// on the other's skirt, is 34 dB or more below the tone.
func TestJitterBesideASmearedToneIsFound(t *testing.T) {
	c := base()
	c.DriftPPM = 10
	c.Jitter = []jittertest.Sine{{Hz: 3000 + 10/c.Seconds, Peak: 84e-12}} // sidebands of −110 dBc
	c.Added = []jittertest.Sine{{Hz: c.CarrierHz + 3000, Peak: c.Amplitude * 1e-5}}
	ch := measureClips(t, jitter.Config{}, c).Channel[0]
	found := 0
	for _, l := range ch.Lines {
		if math.Abs(l.OffsetHz-c.Jitter[0].Hz) < 0.01 && math.Abs(l.PeakPs-84) < 1 {
			found++
		} else if l.SidebandDBc > -134 {
			t.Errorf("jitter %+v that is not there", l)
		}
	}
	if found != 1 || len(ch.AMLines) == 0 || ch.AMLines[0].OneSided != 1 || math.Abs(ch.AMLines[0].DepthDBc+100) > 0.15 {
		t.Errorf("lines %+v and %+v, want 84 ps and one tone above of −100 dBc", ch.Lines, ch.AMLines)
	}
}

// The errors of 40 amplitude lines and 40 tones next to the carrier, each over its stated standard error, have a mean square of 1; of 40
// values it scatters by √(2/40) = 0.22.
func TestDepthsScatterByTheirStandardErrors(t *testing.T) {
	c := base()
	c.NoiseDBFS = -100
	for i := range 40 {
		hz := 150 + 97.3*float64(i)
		c.AM = append(c.AM, jittertest.Sine{Hz: hz, Peak: 6e-6, Phase: float64(i)})
		c.Added = append(c.Added, jittertest.Sine{Hz: c.CarrierHz + hz + 41, Peak: c.Amplitude * 6e-6, Phase: float64(i)})
	}
	ch := measureClips(t, jitter.Config{}, c).Channel[0]
	if len(ch.AMLines) != 80 || len(ch.Lines) != 0 {
		t.Fatalf("%d lines that are no jitter and %d that are, want 80 and none", len(ch.AMLines), len(ch.Lines))
	}
	squares := map[int]float64{}
	for _, l := range ch.AMLines {
		want := -110.4576 // 20·log10(6e-6/2)
		if l.OneSided != 0 {
			want += 6.0206
		}
		squares[l.OneSided] += (l.DepthDBc - want) * (l.DepthDBc - want) / (l.DepthSEDB * l.DepthSEDB) / 40
	}
	for side, mean := range squares {
		if math.Abs(mean-1) > 3*0.22 {
			t.Errorf("side %d: mean square %.2f of the errors over their standard errors, want 1", side, mean)
		}
	}
}

// Over 30 captures of random jitter and noise, phase, amplitude, their sum with a line and what two channels share
// scatter by their standard errors: the mean square of a ratio is 1, and scatters itself by √(2/30) = 0.26.
func TestSumsScatterByTheirStandardErrors(t *testing.T) {
	const captures = 30
	var squares [5]float64
	for seed := range captures {
		a := base()
		a.Seconds = 5
		a.RandomPs, a.RandomLowHz, a.RandomHighHz, a.NoiseDBFS = 60, 10, 11000, -110
		a.Jitter = []jittertest.Sine{{Hz: 700, Peak: 40e-12}}
		a.Seed = uint64(100 + seed)
		ch := measureClips(t, jitter.Config{}, a).Channel[0]
		// The band is 10 to 9600 Hz of 10 to 11000, and on either side of the carrier of 0 to 24000; half of that noise is phase.
		random := 60 * math.Sqrt(9590.0/10990)
		noise := math.Pow(10, -110.0/20) / math.Sqrt2 / a.Amplitude / (2 * math.Pi * a.CarrierHz) * 1e12 * math.Sqrt(2*9590.0/24000)
		for i, v := range [][3]float64{
			{ch.RawPs, math.Hypot(random, noise), ch.RawSEPs},
			{ch.AdditivePs, noise, ch.AdditiveSEPs},
			{ch.DeterministicPs, 40 / math.Sqrt2, ch.DeterministicSEPs},
			{ch.TotalPs, math.Hypot(random, 40/math.Sqrt2), ch.TotalSEPs},
			{ch.RandomPs, random, ch.RandomSEPs},
		} {
			z := (v[0] - v[1]) / v[2]
			squares[i] += z * z / captures
		}
	}
	for i, name := range []string{"raw phase", "additive noise", "deterministic", "total", "random"} {
		if math.Abs(squares[i]-1) > 3*0.26 {
			t.Errorf("%s: mean square %.2f of the errors over their standard errors, want 1", name, squares[i])
		}
	}
}
