package jitter_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
)

// Pairs of lines some bins of the record apart, in every phase to each other: two lines, neither more nor fewer, and right.
// The trace that two neighbours leave between them, each fitted with the other's side lobes in it, is no third.
func TestPairsAreTwoLinesInEveryPhase(t *testing.T) {
	const each = 8
	apart, ratios := []float64{0.7, 1.5, 4}, []float64{1, 0.1}
	if *full {
		apart, ratios = []float64{0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.3, 1.4, 1.5, 1.75, 2, 2.5, 3, 4, 6}, []float64{1, 0.3, 0.1, 0.03}
	}
	random := rand.New(rand.NewPCG(3, 4))
	var scores []float64 // errors over standard errors
	for _, bins := range apart {
		for _, ratio := range ratios {
			clip := pcm.Clip{Rate: 48000}
			peaks := []float64{200, 200 * ratio}
			for i := range each {
				c := base()
				c.Seed = uint64(i)
				hz := 500 + 7000*random.Float64()
				c.Jitter = []jittertest.Sine{
					{Hz: hz, Peak: peaks[0] * 1e-12, Phase: 2 * math.Pi * random.Float64()},
					{Hz: hz + bins/c.Seconds, Peak: peaks[1] * 1e-12, Phase: 2 * math.Pi * random.Float64()},
				}
				clip.Channels = append(clip.Channels, c.Samples())
			}
			r, err := jitter.Measure(clip, jitter.Config{})
			if err != nil {
				t.Fatal(err)
			}
			for _, ch := range r.Channel {
				if len(ch.Lines) != 2 {
					t.Errorf("%v bins apart, ratio %v, channel %d: %d lines, want 2", bins, ratio, ch.Channel, len(ch.Lines))
					continue
				}
				for i, l := range ch.Lines {
					scores = append(scores, (l.PeakPs-peaks[i])/l.PeakSEPs)
					// 0.1 dB or, of many lines, four standard errors.
					if math.Abs(l.PeakPs-peaks[i]) > max(0.0116*peaks[i], 4*l.PeakSEPs) {
						t.Errorf("%v bins apart, ratio %v, channel %d: %.2f ± %.2f ps, want %v", bins, ratio, ch.Channel, l.PeakPs, l.PeakSEPs, peaks[i])
					}
				}
			}
		}
	}
	// Two near lines bear on each other, the more the nearer: their stated errors account for that.
	if rms := floats.Norm(scores, 2) / math.Sqrt(float64(len(scores))); rms < 0.8 || rms > 1.2 {
		t.Errorf("%d errors scatter by %.2f of their standard errors, want 1", len(scores), rms)
	}
}

// A comb of lines two bins apart is read line by line: none is in pieces, none covers two.
func TestACombTwoBinsApartIsReadLineByLine(t *testing.T) {
	const lines, peak = 60, 100.0
	c := base()
	random := rand.New(rand.NewPCG(5, 6))
	for k := range lines {
		c.Jitter = append(c.Jitter, jittertest.Sine{Hz: 1000 + 2*float64(k)/c.Seconds, Peak: peak * 1e-12, Phase: 2 * math.Pi * random.Float64()})
	}
	got := measureClips(t, jitter.Config{}, c).Channel[0].Lines
	if len(got) != lines {
		t.Fatalf("%d lines, want %d", len(got), lines)
	}
	for _, l := range got {
		if math.Abs(l.PeakPs-peak) > max(0.0116*peak, 4*l.PeakSEPs) {
			t.Errorf("%.3f Hz: %.2f ± %.2f ps, want %v", l.OffsetHz, l.PeakPs, l.PeakSEPs, peak)
		}
	}
}
