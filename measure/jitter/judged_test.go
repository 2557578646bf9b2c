package jitter_test

import (
	"testing"

	"heardiff/measure/jitter"
)

// No clock is off by a hundredth: carriers farther apart are two signals.
func TestCarriersApartAreTwoSignals(t *testing.T) {
	for hz, other := range map[float64]bool{12000: false, 12110: false, 11890: false, 12130: true, 11870: true, 11025: true} {
		if got := (jitter.Result{CarrierHz: hz}).OtherCarrier(jitter.Result{CarrierHz: 12000}); got != other {
			t.Errorf("%v Hz against 12000 Hz: another carrier %v", hz, got)
		}
	}
}

// A line is the floor's where it is within two bins of it, or within what the mains wander by, and no stronger by 3 dB.
func TestALineIsMatchedWithTheFloors(t *testing.T) {
	of := func(hz, ps, seconds float64) jitter.Result {
		return jitter.Result{CarrierHz: 12000, BandHz: [2]float64{10, 9600}, Seconds: seconds,
			Channel: []jitter.Channel{{Channel: 1, RawPs: 10, Lines: []jitter.Line{{OffsetHz: hz, PeakPs: ps}}}}}
	}
	for _, c := range []struct {
		hz, ps, floorHz, seconds float64
		same                     bool
	}{
		{1000, 10, 1000.19, 100, true}, {1000, 10, 1000.21, 100, false}, {1000, 10, 1000.19, 10, true}, {50, 10, 50.19, 10, true}, {50, 10, 50.21, 10, false},
		{1000, 14, 1000, 100, true}, {1000, 14.2, 1000, 100, false},
	} {
		r, err := of(c.hz, c.ps, c.seconds).AgainstFloor(of(c.floorHz, 10, c.seconds))
		if err != nil {
			t.Fatal(err)
		}
		if got := r.Channel[0].Lines[0].AtFloor; got != c.same {
			t.Errorf("a line of %v ps at %v Hz, the floor's of 10 ps at %v Hz, over %v s: at the floor %v", c.ps, c.hz, c.floorHz, c.seconds, got)
		}
	}
}
