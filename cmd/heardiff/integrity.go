package main

import (
	"fmt"
	"io"
	"math"
	"slices"

	"github.com/spf13/cobra"

	"heardiff/measure/integrity"
)

func (a *app) integrityCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "integrity SENT RECEIVED",
		Short: "compare what was received over a digital chain with what was sent, word by word",
		Long: `Compare what was received over a digital chain with what was sent, word by word, at any
offset. If words differ, the cause is named as far as it can be determined: gain, dither,
truncation, resampling, dropout, repeat, polarity, channel-swap. Of several causes the one that
changed the whole recording is named; warnings name the others, and stretches that were lost,
muted or repeated are listed with their places.

Send the file that "heardiff signal integrity" writes. Its words are full-scale noise: for
digital loops only, never through headphones or loudspeakers.`,
		Example: "  heardiff integrity sent.wav received.wav",
		Args:    exactArgs("SENT", "RECEIVED"),
		RunE: func(c *cobra.Command, args []string) error {
			result, err := a.host().CompareSent(c.Context(), args[0], args[1])
			if err != nil {
				return err
			}
			return a.print(result, func(w io.Writer) { integrityText(w, result) })
		},
	}
}

func integrityText(w io.Writer, r integrity.Result) {
	frames := fmt.Sprintf("%d samples compared, %d bits, %s", r.ComparedSamples, r.BitsCompared, offsetText(r.OffsetSamples))
	if r.BitPerfect {
		fmt.Fprintf(w, "bit-perfect: every word is equal\n%s\n", frames)
		return
	}
	cause := integrity.Unknown
	if r.Cause != nil {
		cause = *r.Cause
	}
	fmt.Fprintf(w, "not bit-perfect: %s\n%s\n", cause, frames)
	if r.FirstMismatch != nil {
		fmt.Fprintf(w, "%d samples differ, the first at frame %d of what was sent", r.MismatchedSamples, *r.FirstMismatch)
		if !math.IsNaN(r.GainDB) {
			fmt.Fprintf(w, "; gain %s dB", figure(r.GainDB, "%.4f"))
		}
		fmt.Fprintln(w)
	}
	faultsText(w, r.Faults)
	warningsText(w, r.Warnings)
}

func offsetText(frames int) string {
	switch {
	case frames > 0:
		return fmt.Sprintf("received %d frames late", frames)
	case frames < 0:
		return fmt.Sprintf("received from frame %d of what was sent on", -frames)
	}
	return "no offset"
}

// faultsText prints a table of faults, with their channels if any is in one channel alone.
func faultsText(w io.Writer, faults []integrity.Fault) {
	columns := []string{"fault", "at frame", "frames"}
	single := slices.ContainsFunc(faults, func(f integrity.Fault) bool { return f.Channel > 0 })
	if single {
		columns = append(columns, "channel")
	}
	t := newTable(columns...)
	t.right(1, 2)
	for _, f := range faults {
		row := []string{string(f.Cause), fmt.Sprint(f.Frame), fmt.Sprint(f.Frames)}
		switch {
		case single && f.Channel > 0:
			row = append(row, fmt.Sprint(f.Channel))
		case single:
			row = append(row, "all")
		}
		t.row(row...)
	}
	t.print(w, "\n")
}
