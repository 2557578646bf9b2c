package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// compared is what "compare" prints.
type compared struct {
	match.Result
	Written *writtenPair `json:"written,omitempty"`
}

// writtenPair names the files of "compare --out".
type writtenPair struct {
	A              string  `json:"a"`
	B              string  `json:"b"`
	Residual       string  `json:"residual"`
	Audible        string  `json:"audible"`
	AudibleGainDB  float64 `json:"audible_gain_db"`
	ResidualPeakDB float64 `json:"residual_peak_dbfs"`
}

func (a *app) compareCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "compare A B",
		Short: "How two captures of the same music differ: offset, drift, gain, null, response",
		Long: `How two captures of the same music differ. A is the reference: an event at second t of A
stands at offset + t·(1 + drift) of B, and a positive gain says that B is louder. The null is
what is left of A when B, corrected by one offset, drift, gain and polarity, is taken away.

--out writes the corrected pair, what is left, and what is left made louder by a stated gain.
Play that one softly: it is far louder than it was in the music.

` + exitCodes,
		Example: "  heardiff compare direct.wav isolator.wav --out pair",
		Args:    exactArgs("A", "B"),
		RunE: func(c *cobra.Command, args []string) error {
			return a.compare(c.Context(), args[0], args[1], out)
		},
	}
	c.Flags().StringVar(&out, "out", "", "`folder` for the corrected pair and the residual")
	return c
}

func (a *app) compare(ctx context.Context, pathA, pathB, out string) error {
	fa, err := a.open(pathA)
	if err != nil {
		return err
	}
	defer fa.Close()
	fb, err := a.open(pathB)
	if err != nil {
		return err
	}
	defer fb.Close()
	ra := a.watched(ctx, fa, "comparing")
	var result compared
	result.Result, err = match.Compare(ra, fb, match.Config{})
	if err != nil {
		return compareFailure(err)
	}
	if out != "" {
		if result.Written, err = writePair(out, ra, fb, result.Result); err != nil {
			return err
		}
	}
	return a.print(result, func(w io.Writer) { printCompared(w, result) })
}

func compareFailure(err error) error {
	switch {
	case errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, match.ErrUnrelated):
		return rejected(err, "capture the same music through both chains, at least a few seconds of it in both files")
	case errors.Is(err, pcm.ErrMismatch):
		return rejected(err, "capture both chains at one rate and channel count; a converted file is no longer the capture")
	}
	return rejected(err, "")
}

// pairNames are the files of a pair, in the order of match.Pair, then the louder residual.
var pairNames = [4]string{"a.wav", "b.wav", "residual.wav", "residual-louder.wav"}

// writePair writes the corrected pair in two passes, since the louder residual needs its peak first. Nothing
// stays of a pair that could not be written whole.
func writePair(dir string, a, b pcm.Reader, r match.Result) (*writtenPair, error) {
	made := false
	if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
		made = true
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	peak := 0.0
	_, err := match.Correct(a, b, r, func(p match.Pair) error { peak = max(peak, p.ResidualPeak()); return nil })
	if err == nil {
		err = writePairFiles(dir, a, b, r, match.AudibleGainDB(peak))
	}
	if err != nil {
		if made {
			os.Remove(dir) // only if it is empty
		}
		return nil, err
	}
	at := func(i int) string { return filepath.Join(dir, pairNames[i]) }
	return &writtenPair{A: at(0), B: at(1), Residual: at(2), Audible: at(3), AudibleGainDB: match.AudibleGainDB(peak), ResidualPeakDB: pcm.DB(peak)}, nil
}

func writePairFiles(dir string, a, b pcm.Reader, r match.Result, gainDB float64) (err error) {
	format := pcm.Format{Rate: a.Format().Rate, Channels: a.Format().Channels, Bits: 32, Float: true}
	var files []*wav.Writer
	defer func() {
		if err != nil {
			for _, f := range files {
				f.Abort()
			}
		}
	}()
	for _, name := range pairNames {
		f, err := wav.Create(filepath.Join(dir, name), format, nil)
		if err != nil {
			return err
		}
		files = append(files, f)
	}
	_, err = match.Correct(a, b, r, func(p match.Pair) error {
		for i, block := range [][][]float64{p.A, p.B, p.Residual} {
			if err := files[i].Write(block); err != nil {
				return err
			}
		}
		return files[3].Write(p.Louder(gainDB))
	})
	if err != nil {
		return err
	}
	for _, f := range files {
		if err = f.Close(); err != nil {
			return err
		}
	}
	return nil
}

func printCompared(w io.Writer, c compared) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	row := func(name, value, unit string) { fmt.Fprintf(t, "%s\t%s\t%s\n", name, value, unit) }
	row("offset", fmt.Sprintf("%.9f", c.OffsetS), "s")
	row("", fmt.Sprintf("%.4f ± %.2g", c.OffsetSamples, c.StandardErrors.OffsetSamples), "samples")
	row("drift", fmt.Sprintf("%+.4f ± %.2g", c.DriftPPM, c.StandardErrors.DriftPPM), "ppm")
	row("gain of B", fmt.Sprintf("%+.4f ± %.2g", c.GainDB, c.StandardErrors.GainDB), "dB")
	row("polarity", c.Polarity, "")
	for _, ch := range c.Channels {
		row(fmt.Sprintf("channel %d", ch.Channel), fmt.Sprintf("%+.4f dB, %.4f", ch.GainDB, ch.OffsetSamples), "samples")
	}
	row("null", nullText(c.NullDB, c.Identical), "dB")
	row("correlation", fmt.Sprintf("%.9f", c.Correlation), "")
	row("response", fmt.Sprintf("%+.3f at most", c.ResponseMaxDB), "dB")
	row("loudness", fmt.Sprintf("%+.3f", c.LoudnessDifferenceLU), "LU")
	row("overlap", fmt.Sprintf("%.2f", c.OverlapS), "s")
	row("what is left", c.Residual.Kind, "")
	t.Flush()
	printNullBands(w, c.NullBands)
	if p := c.Written; p != nil {
		fmt.Fprintf(w, "\nwritten: %s, %s, %s; %s is %.0f dB louder than what is left\n", p.A, p.B, p.Residual, p.Audible, p.AudibleGainDB)
	}
	for _, warning := range c.Warnings {
		fmt.Fprintf(w, "warning: %s\n", warning)
	}
}

func nullText(db float64, identical bool) string {
	if identical {
		return "nothing is left"
	}
	return fmt.Sprintf("%.1f", db)
}

func printNullBands(w io.Writer, bands []match.Band) {
	if len(bands) == 0 {
		return
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(t, "octave from Hz\tto Hz\tnull dB\t\n")
	for _, b := range bands {
		level := fmt.Sprintf("%.1f", b.DB)
		if math.IsInf(b.DB, -1) || math.IsNaN(b.DB) {
			level = "–"
		}
		fmt.Fprintf(t, "%.0f\t%.0f\t%s\t\n", b.LowHz, b.HighHz, level)
	}
	t.Flush()
}
