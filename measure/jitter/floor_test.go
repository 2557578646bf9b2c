package jitter_test

import (
	"math"
	"strings"
	"testing"

	"heardiff/measure/jitter"
)

// A floor recorded at another level than the capture is said to be, either way, and one at nearly the same level is not. The
// recorder's noise, which stays where it is, makes the floor's jitter as much larger as its tone is lower.
func TestAFloorAtAnotherLevelIsSaid(t *testing.T) {
	capture := base()
	capture.Amplitude = 0.5
	capture.RandomPs, capture.RandomLowHz, capture.RandomHighHz = 60, 10, 9600
	r := measure(t, jitter.Config{}, capture)
	for gainDB, want := range map[float64]string{-37: "is higher by that", 3.9: "is lower by that", -2.9: "", 2.9: ""} {
		floor := base()
		floor.Seed, floor.Amplitude = 2, capture.Amplitude*math.Pow(10, gainDB/20)
		got, err := r.AgainstFloor(measure(t, jitter.Config{}, floor))
		if err != nil {
			t.Fatal(err)
		}
		said := strings.Join(got.Warnings, "\n")
		if want == "" && said != "" || !strings.Contains(said, want) {
			t.Errorf("floor %+v dB: warnings %q, want %q", gainDB, said, want)
		}
	}
}
