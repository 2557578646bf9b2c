package main

import (
	"context"
	"fmt"

	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/trials"
)

const floorHint = "record the floor with the capture's signal, rate and channels"

// checkCompanions refuses a floor, reference or overlay that cannot be compared with the capture at path, before anything is measured.
func (a *app) checkCompanions(ctx context.Context, path string, m measureFlags) error {
	for _, other := range []struct{ path, as, hint string }{
		{m.floor, "a floor", floorHint},
		{m.reference, "a reference", "record the reference at the capture's rate, in its channels"},
		{m.overlay, "an overlay", "draw captures of one rate and number of channels over each other"},
	} {
		if other.path == "" {
			continue
		}
		if err := a.recordedAlike(ctx, path, other.path, other.as, other.hint); err != nil {
			return err
		}
	}
	return nil
}

// recordedAlike refuses a file, used as "a floor" and the like, whose rate or channels are not those of the capture at path: what a
// recorder adds at one rate, or in one of its inputs, says nothing of another.
func (a *app) recordedAlike(ctx context.Context, path, other, as, hint string) error {
	capture, err := a.formatOf(ctx, path)
	if err != nil {
		return err
	}
	companion, err := a.formatOf(ctx, other)
	if err != nil {
		return err
	}
	if capture.Rate == companion.Rate && capture.Channels == companion.Channels {
		return nil
	}
	return rejected(fmt.Errorf("%s: %s of %s for %s of %s: one says nothing of the other",
		other, as, ratePlan(companion), path, ratePlan(capture)), hint)
}

// ratePlan names a rate and a number of channels.
func ratePlan(f pcm.Format) string {
	if f.Channels == 1 {
		return fmt.Sprintf("%d Hz in 1 channel", f.Rate)
	}
	return fmt.Sprintf("%d Hz in %s", f.Rate, trials.Counted(f.Channels, "channel"))
}

func (a *app) formatOf(ctx context.Context, path string) (pcm.Format, error) {
	f, err := audiofile.Open(ctx, path)
	if err != nil {
		return pcm.Format{}, err
	}
	defer f.Close()
	return f.Format(), nil
}
