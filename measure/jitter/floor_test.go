package jitter_test

import (
	"math"
	"testing"

	"heardiff/measure"
	"heardiff/measure/jitter"
)

// A floor recorded at another level than the capture, higher or lower, brings a warning, and one at nearly the same level does not. The
// recorder's noise, which stays where it is, makes the floor's jitter as much larger as its tone is lower.
func TestAFloorAtAnotherLevelIsSaid(t *testing.T) {
	capture := base()
	capture.Amplitude = 0.5
	capture.RandomPs, capture.RandomLowHz, capture.RandomHighHz = 60, 10, 9600
	r := measureClips(t, jitter.Config{}, capture)
	for gainDB, want := range map[float64]bool{-37: true, 3.9: true, -2.9: false, 2.9: false} {
		floor := base()
		floor.Seed, floor.Amplitude = 2, capture.Amplitude*math.Pow(10, gainDB/20)
		got, err := r.AgainstFloor(measureClips(t, jitter.Config{}, floor))
		if err != nil {
			t.Fatal(err)
		}
		if got.Warned(measure.FloorLevel) != want || want && math.Abs(got.Details[0].Value-gainDB) > 0.1 || !want && len(got.Texts) > 0 {
			t.Errorf("floor %+v dB: warnings %q", gainDB, got.Texts)
		}
	}
}
