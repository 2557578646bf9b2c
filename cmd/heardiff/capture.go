package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/playback/pcm"
	"heardiff/trials/study"
)

func (a *app) captureCommand() *cobra.Command {
	return group("capture", "add recordings to the study, list them, and correct what was filed wrongly", a.captureAddCommand(), a.captureListCommand(), a.captureRemoveCommand(), a.captureRefileCommand())
}

func (a *app) captureAddCommand() *cobra.Command {
	var kind, music, sent string
	c := &cobra.Command{
		Use:   "add CHAIN FILE… --as KIND [--music NAME]",
		Short: "copy recordings of a chain into the study",
		Long: `Copy recordings of a chain into the study. KIND is music, or the signal that was played:
` + strings.Join(filedNames(), ", ") + `. Several captures of a kind
give the spread of the measurement. --music names the piece; captures of one piece must share
one rate and number of channels. An integrity capture is digital, and compared at once with the
file that was sent (--sent): "link" then knows whether the chain delivers every word.`,
		Example: `  heardiff capture add attic attic-*.wav --as jitter
  heardiff capture add attic suite.wav --as music --music suite
  heardiff capture add attic words.wav --as integrity --sent integrity.wav`,
		Args: minArgs(2, "CHAIN FILE…"),
		RunE: func(c *cobra.Command, args []string) error {
			o := study.CaptureOptions{Chain: args[0], Kind: kind, Music: music, Sent: sent}
			if err := o.Check(); err != nil {
				return err
			}
			return a.addCaptures(c.Context(), o, args[1:])
		},
	}
	filingFlags(c, &kind, &music)
	c.Flags().StringVar(&sent, "sent", "", "the `file` that was played (integrity only)")
	return c
}

func (a *app) addCaptures(ctx context.Context, o study.CaptureOptions, files []string) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if _, err := s.Chain(ctx, o.Chain); err != nil {
		return study.InStudy(err)
	}
	var added []study.AddedCapture
	for _, file := range files {
		c, err := s.AddCapture(ctx, o, file)
		if err != nil {
			return err
		}
		added = append(added, c)
	}
	result := struct {
		Schema   string               `json:"schema"`
		Captures []study.AddedCapture `json:"captures"`
	}{"heardiff.captures/1", added}
	return a.printStep(ctx, s, result, func(w io.Writer) {
		for _, c := range added {
			fmt.Fprintf(w, "%s: %s capture %d, %d Hz, %d channels, %.1f s, sha256 %.12s\n",
				c.Chain, c.Kind, c.ID, c.RateHz, c.Channels, pcm.Rate(c.RateHz).Seconds(c.Frames), c.SHA256)
			fmt.Fprintf(w, "  holds %s\n", c.Holds)
			if c.Integrity != nil {
				integrityText(w, *c.Integrity)
			}
		}
	})
}
