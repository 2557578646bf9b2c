package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/measure/match"
	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/trials/study"
)

// compared is what "compare" prints.
type compared struct {
	match.Result
	Written *writtenPair `json:"written,omitempty"`
}

func (a *app) compareCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "compare A B",
		Short: "how two captures of the same music differ: offset, drift, gain, null, response",
		Long: `How two captures of the same music differ. A is the reference: an event at second t of A
is at offset + t·(1 + drift) of B, and a positive gain says that B is louder. The null is the
residual of A less B, B corrected by one offset, drift, gain and polarity, against A.

The parts of the residual are named: noise, distortion, a response difference or timing, with its share. The
response's third octaves each have a standard error. Jumps, dropouts, clipping, a wandering
clock, a band limit and repeated music are warned of, with numbers. A lossy copy is recognised by a
residual that rises and falls with the music, but not the faintest: of 72 copies at 128 to 320 kb/s
of invented pieces three passed without a warning, with nulls of -73 to -77 dB. A chain that
distorts by 0.02 % leaves as much.

--out writes four files: a.wav and b.wav, the corrected pair; residual.wav, what is left; and
residual-louder.wav, the same made louder by the gain that is printed. Play that one softly: it
is far louder than it was in the music. All four are put in place together or none is. Unless whole
samples do, A and B are interpolated and low-passed alike at 0.907 of half the sample rate.`,
		Example: `  heardiff compare hall.wav attic.wav
  heardiff compare hall.wav attic.wav --out pair --force
  heardiff compare hall.wav attic.wav --json`,
		Args: exactArgs("A", "B"),
		RunE: func(c *cobra.Command, args []string) error {
			if a.force && out == "" {
				return misusedf("--force without --out: there is nothing to replace")
			}
			return a.compare(c.Context(), args[0], args[1], out)
		},
	}
	c.Flags().StringVar(&out, "out", "", "`folder` for the corrected pair and the residual")
	a.forceFlag(c)
	c.Flags().BoolVar(&a.force, "overwrite", false, "the same as --force")
	return c
}

func (a *app) compare(ctx context.Context, pathA, pathB, out string) error {
	var to folderDestination
	if out != "" { // before any work is done
		var err error
		if to, err = a.pairDestination(out); err != nil {
			return err
		}
		if err := to.leaves(pathA, pathB); err != nil {
			return err
		}
	}
	files, err := audiofile.OpenPair(ctx, pathA, pathB)
	if err != nil {
		return err
	}
	defer files.Close()
	ra := pcm.Until(ctx, files.A, a.progress("comparing"))
	var result compared
	result.Result, err = match.Compare(ra, files.B)
	if err != nil {
		return compareFailure(err)
	}
	if out != "" {
		if result.Written, err = to.writePair(ra, files.B, result.Result); err != nil {
			return err
		}
	}
	return a.print(result, func(w io.Writer) { printCompared(w, result) })
}

func compareFailure(err error) error {
	switch {
	case errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, match.ErrMono):
		return rejected(err, study.MonoHint)
	case errors.Is(err, match.ErrUnrelated):
		return rejected(err, "capture the same music through both chains, at least a few seconds of it in both files")
	case errors.Is(err, pcm.ErrMismatch):
		return rejected(err, "capture both chains at one rate and channel count; a converted file is no longer the capture")
	}
	return rejected(err, "")
}

func printCompared(w io.Writer, c compared) {
	t := newTable()
	t.row("offset", figure(c.OffsetS, "%.9f"), "s")
	t.row("", give(c.OffsetSamples, c.StandardErrors.OffsetSamples, ""), "samples")
	t.row("drift", give(c.DriftPPM, c.StandardErrors.DriftPPM, "+"), "ppm")
	t.row("gain", give(c.GainDB, c.StandardErrors.GainDB, "+"), "dB: "+louder(c.GainDB, c.StandardErrors.GainDB))
	t.row("polarity", c.Polarity)
	for _, ch := range c.Channels {
		t.row(fmt.Sprintf("channel %d", ch.Channel), figure(ch.GainDB, "%+.4f")+" dB, "+figure(ch.OffsetSamples, "%.4f"), "samples")
	}
	t.row("null", nullText(c.NullDB, c.Identical), "dB")
	t.row("correlation", figure(c.Correlation, "%.9f"))
	t.row("response", figure(c.ResponseMaxDB, "%+.3f")+" at most", "dB")
	t.row("loudness", figure(c.LoudnessDifferenceLU, "%+.3f"), "LU")
	t.row("overlap", figure(c.OverlapS, "%.2f"), "s")
	t.row("what is left", largestShare(c.Residual))
	t.print(w, "")
	printNullBands(w, c.NullBands)
	if p := c.Written; p != nil {
		fmt.Fprintf(w, "\nwritten: %s, %s, %s; %s is %.0f dB louder than what is left\n", p.A, p.B, p.Residual, p.Audible, p.AudibleGainDB)
		fmt.Fprintf(w, "a and b were %s\n", strings.Join(p.Changes, "; "))
	}
	warningsText(w, c.Warnings)
}

// louder names the louder of two captures, if the difference exceeds its standard error.
func louder(gainDB, se float64) string {
	if math.IsNaN(se) {
		se = 0
	}
	switch {
	case gainDB > 2*se:
		return "B is louder than A"
	case gainDB < -2*se:
		return "B is softer than A"
	}
	return "neither is louder"
}

// largestShare names the largest share of the residual.
func largestShare(r match.Residual) string {
	share := map[string]float64{"noise": r.Noise, "distortion": r.Distortion, "response": r.Response, "timing": r.Timing}[r.Kind]
	if share == 0 {
		return r.Kind
	}
	return fmt.Sprintf("%s (%.0f %% of it)", r.Kind, 100*share)
}

func nullText(db float64, identical bool) string {
	if identical {
		return "nothing is left"
	}
	return figure(db, "%.1f")
}

func printNullBands(w io.Writer, bands []match.Band) {
	if len(bands) == 0 {
		return
	}
	t := newTable("octave from Hz", "to Hz", "null dB")
	t.right(0, 1, 2)
	for _, b := range bands {
		t.row(figure(b.LowHz, "%.0f"), figure(b.HighHz, "%.0f"), figure(b.DB, "%.1f"))
	}
	t.print(w, "\n")
}
