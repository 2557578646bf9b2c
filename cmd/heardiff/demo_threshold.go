package main

import (
	"context"
	"fmt"

	"heardiff/cmd/heardiff/internal/demo"
	"heardiff/playback/pcm"
)

// thresholds lets the simulated listeners work through a threshold run on random jitter; their thresholds are invented, and found again.
func (d *demonstration) thresholds(ctx context.Context) error {
	for _, args := range [][]string{
		{"prepare", "--ladder", "random-jitter", "--from", "1000", "--to", "10000000", "--steps", "17", "--chain", "hall"},
		{"plan", "new", "--id", "threshold", "--threshold", "random-jitter", "--trials", "80", "--within", "3dB"},
	} {
		if err := d.do(ctx, args...); err != nil {
			return err
		}
	}
	s, err := d.child().openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	fmt.Fprintf(d.out(), "\n%d simulated listeners work through a threshold run; each ear's threshold is invented:\n", len(d.ears))
	progress := d.app.progress("simulated threshold runs")
	defer progress(1)
	for i, l := range d.ears {
		ear := demo.NewEar(l.threshold, d.seed+uint64(1000+i))
		if err := d.session(ctx, s, "threshold", l.id, func(sounds []pcm.Clip) int { return ear.PickDose(sounds[0], sounds[1]) }); err != nil {
			return fmt.Errorf("threshold run, listener %s: %w", l.id, err)
		}
		fmt.Fprintf(d.out(), "  %s: a difference %.0f dB below the music\n", l.id, -l.threshold)
		progress(float64(i+1) / float64(len(d.ears)))
	}
	return nil
}
