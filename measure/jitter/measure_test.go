package jitter_test

import (
	"math"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
)

func base() jittertest.Capture {
	return jittertest.Capture{Rate: 48000, Seconds: 6, CarrierHz: 12000.5, Amplitude: 0.7, NoiseDBFS: -120, Seed: 1}
}

// measureClips measures simulated channels.
func measureClips(t *testing.T, cfg jitter.Config, channels ...jittertest.Capture) jitter.Result {
	t.Helper()
	r, err := jitter.Measure(jittertest.Clip(channels...), cfg)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestLinesAndRandomAreRecovered(t *testing.T) {
	c := base()
	c.Jitter = []jittertest.Sine{{Hz: 60, Peak: 50e-12}, {Hz: 1234.5, Peak: 200e-12, Phase: 1}, {Hz: 1234.8, Peak: 100e-12}, {Hz: 7001, Peak: 5e-9}}
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 300, 10, 9600
	r := measureClips(t, jitter.Config{Spectrum: true}, c)
	if math.Abs(r.CarrierHz-12000.5) > 0.01 {
		t.Errorf("carrier %.5f Hz", r.CarrierHz)
	}
	ch := r.Channel[0]
	if len(ch.Lines) != len(c.Jitter) {
		t.Fatalf("%d lines, want %d: %+v", len(ch.Lines), len(c.Jitter), ch.Lines)
	}
	for i, l := range ch.Lines {
		want := c.Jitter[i].Peak * 1e12
		if math.Abs(l.PeakPs-want) > max(0.0116*want, 3*l.PeakSEPs) { // 0.1 dB
			t.Errorf("line at %.3f Hz: %.3f ± %.3f ps, want %.3f", l.OffsetHz, l.PeakPs, l.PeakSEPs, want)
		}
	}
	if math.Abs(ch.RandomPs-300) > max(9, 3*ch.RandomSEPs) {
		t.Errorf("random %.2f ± %.2f ps, want 300", ch.RandomPs, ch.RandomSEPs)
	}
}
