package jitter_test

import (
	"math"
	"testing"

	"heardiff/measure/jitter"
)

// What the output's own noise leaves is a bound: so is what the recording set-up alone shows, too.
func TestATransferStopsAtTheNoiseAndAtTheFloor(t *testing.T) {
	reference := base()
	reference.RandomPs, reference.RandomLowHz, reference.RandomHighHz = 400, 10, 9600
	still := base()
	for seed := range uint64(3) {
		still.Seed = seed + 2
		got, err := jitter.NewTransfer(measureClips(t, jitter.Config{Spectrum: true}, reference), measureClips(t, jitter.Config{Spectrum: true}, still))
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range got.Channel[0].Density {
			if !math.IsNaN(b.AttenuationDB) && !b.AtLeast {
				t.Errorf("seed %d, %.1f Hz: %.1f dB read as measured, of noise alone", seed, b.OffsetHz, b.AttenuationDB)
			}
		}
	}
	output, floor := reference, reference
	output.Seed, output.RandomPs = 3, 100
	floor.Seed, floor.RandomPs = 4, 90
	alone := measureClips(t, jitter.Config{Spectrum: true}, floor)
	r, err := measureClips(t, jitter.Config{Spectrum: true}, reference).AgainstFloor(alone)
	if err != nil {
		t.Fatal(err)
	}
	o, err := measureClips(t, jitter.Config{Spectrum: true}, output).AgainstFloor(alone)
	if err != nil {
		t.Fatal(err)
	}
	got, err := jitter.NewTransfer(r, o)
	if err != nil {
		t.Fatal(err)
	}
	bounds := 0
	for _, b := range got.Channel[0].Density {
		if b.AtLeast {
			bounds++
		}
	}
	// Chance carries a band of few degrees of freedom past 3 dB.
	if bounds < len(got.Channel[0].Density)*9/10 {
		t.Errorf("%d of %d bands are bounds with a floor as high", bounds, len(got.Channel[0].Density))
	}
}
