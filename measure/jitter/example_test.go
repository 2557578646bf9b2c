package jitter_test

import (
	"fmt"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
)

func ExampleMeasure() {
	capture := jittertest.Clip(jittertest.Capture{
		Rate: 48000, Seconds: 5, CarrierHz: 12000, Amplitude: 0.7, NoiseDBFS: -130,
		Jitter: []jittertest.Sine{{Hz: 100, Peak: 500e-12}},
	})
	r, err := jitter.Measure(capture, jitter.Config{})
	if err != nil {
		fmt.Println(err)
		return
	}
	line := r.Channel[0].Lines[0]
	fmt.Printf("%.0f Hz: %.0f ps peak, %.1f dBc\n", line.OffsetHz, line.PeakPs, line.SidebandDBc)
	// Output: 100 Hz: 500 ps peak, -94.5 dBc
}
