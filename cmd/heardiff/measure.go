package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/jitter"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// measureFlags are the flags of measure on a file.
type measureFlags struct {
	as, floor, reference string
	plot, overlay        string
	band                 string
	jitter               jitter.Config
}

func (a *app) measureCommand() *cobra.Command {
	var m measureFlags
	again := false
	c := &cobra.Command{
		Use:   "measure [FILE --as KIND]",
		Short: "measure a capture, or all that is new in the study",
		Long: `Measure a capture of a test signal; without FILE, every capture of the study that has not
been measured yet, against the latest capture of the same kind of a floor chain.

  jitter    timing error of a tone: random, lines, in ps
  tone      harmonics, THD+N, noise, hum      low-tone  dynamic range by a tone at −60 dBFS
  noise     noise of silence, hum, lines      two-tone  intermodulation
  sweep     response, and harmonics by frequency: 10 s at the least, 30 to 60 s for low ones

A steady tone does not show a lost or repeated block of whole periods: 4 samples of the jitter
signal. "heardiff integrity" does.

With --floor, the same measurement of the recording set-up alone, each figure carries the
limit of the set-up: within 3 dB of it a figure is an upper bound. Record the floor with the
capture's signal, rate, channels and level: noise and hum are carried over to another level,
distortion cannot be.`,
		Example: "  heardiff measure\n  heardiff measure capture.wav --as jitter --floor loop.wav --plot jitter.svg",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return misusedf("%d files given: one at a time, or none for the study's", len(args))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				cfg, err := m.forStudy()
				if err != nil {
					return err
				}
				return a.measureStudy(c.Context(), again, cfg)
			}
			if again {
				return misusedf("--again is for the study's captures, without FILE")
			}
			return a.measureFile(c.Context(), args[0], m)
		},
	}
	f := c.Flags()
	f.StringVar(&m.as, "as", "", "`kind` of measurement: jitter, tone, noise, low-tone, two-tone, sweep")
	f.StringVar(&m.floor, "floor", "", "`file` with the same measurement of the recording set-up alone")
	f.StringVar(&m.reference, "reference", "", "noise: `file` with a signal through the same chain, to which the noise is relative")
	f.StringVar(&m.overlay, "overlay", "", "another capture's `file`, drawn over this one with --plot")
	f.StringVar(&m.plot, "plot", "", "draw the result into `file`, .svg or .png")
	a.forceFlag(c)
	f.BoolVar(&again, "again", false, "measure all captures of the study once more, as after a floor was added")
	m.jitterFlags(c)
	c.AddCommand(a.transferCommand(), a.measureEnterCommand())
	return c
}

func (m *measureFlags) jitterFlags(c *cobra.Command) {
	f := c.Flags()
	f.IntVar(&m.jitter.Bits, "bits", 24, "jitter: word length of the signal played, 16 or 24")
	f.Float64Var(&m.jitter.SignalRateHz, "signal-rate", 0, "jitter: rate in `Hz` of the signal played (0: the nearest common one)")
	f.StringVar(&m.band, "band", "", "jitter: band `LO:HI` in Hz")
	f.BoolVar(&m.jitter.Spectrum, "spectrum", false, "jitter: add the density against jitter frequency")
}

// forStudy returns how a study's jitter is measured, and refuses what belongs to one file.
func (m *measureFlags) forStudy() (jitter.Config, error) {
	if m.as != "" {
		return jitter.Config{}, misusedf("--as %s needs a FILE", m.as)
	}
	if m.floor != "" || m.plot != "" || m.overlay != "" || m.reference != "" {
		return jitter.Config{}, misusedf("--floor, --plot, --overlay and --reference need a FILE; a study's floor is a chain of that role")
	}
	cfg, err := m.jitterConfig()
	if err != nil {
		return cfg, err
	}
	if err := cfg.Validate(); err != nil {
		return cfg, misused(err)
	}
	return cfg, nil
}

func (a *app) transferCommand() *cobra.Command {
	var m measureFlags
	var floor string
	c := &cobra.Command{
		Use:   "transfer REF FILE",
		Short: "jitter attenuation from one capture to another, against jitter frequency",
		Long: `How much of the jitter of REF FILE still shows, against jitter frequency. Where FILE stands no
more than 3 dB above the recording set-up's own (--floor), or does not stand clear of its noise, the
attenuation is that or more.`,
		Args: exactArgs("REF", "FILE"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := a.checkPicture(m.plot); err != nil {
				return err
			}
			cfg, err := m.jitterConfig()
			if err != nil {
				return err
			}
			return a.measureTransfer(c.Context(), transferFiles{args[0], args[1], floor}, cfg, m.plot)
		},
	}
	m.jitterFlags(c)
	a.forceFlag(c)
	c.Flags().StringVar(&floor, "floor", "", "the recording set-up alone, its output looped to its input: `file`")
	c.Flags().StringVar(&m.plot, "plot", "", "draw the attenuation of the first channel into `file`, .svg or .png")
	return c
}

func (m *measureFlags) jitterConfig() (jitter.Config, error) {
	cfg := m.jitter
	if m.band == "" {
		return cfg, nil
	}
	low, high, ok := strings.Cut(m.band, ":")
	var errLow, errHigh error
	cfg.LowHz, errLow = strconv.ParseFloat(low, 64)
	cfg.HighHz, errHigh = strconv.ParseFloat(high, 64)
	if !ok || errLow != nil || errHigh != nil || !(cfg.LowHz > 0 && cfg.HighHz > cfg.LowHz) {
		return cfg, misusedf("--band %q: LO:HI in Hz wanted, such as 10:10000", m.band)
	}
	return cfg, nil
}

func (a *app) measureFile(ctx context.Context, path string, m measureFlags) error {
	if m.reference != "" && m.as != "noise" {
		return misusedf("--reference goes with --as noise only")
	}
	if m.overlay != "" && m.plot == "" {
		return misusedf("--overlay %s needs --plot FILE", m.overlay)
	}
	if err := a.checkPicture(m.plot); err != nil {
		return err
	}
	switch m.as {
	case "":
		return misusedf("--as is missing: jitter, tone, noise, low-tone, two-tone or sweep")
	case "jitter":
		cfg, err := m.jitterConfig()
		if err != nil {
			return err
		}
		return a.measureJitter(ctx, path, cfg, m)
	case "noise":
		return a.measureNoise(ctx, path, m)
	case "tone":
		return measured(ctx, a, path, m, toneFiles)
	case "low-tone":
		return measured(ctx, a, path, m, lowToneFiles)
	case "two-tone":
		return measured(ctx, a, path, m, twoToneFiles)
	case "sweep":
		return measured(ctx, a, path, m, sweepFiles)
	}
	return misusedf("--as %q: jitter, tone, noise, low-tone, two-tone or sweep wanted", m.as)
}

// fileKind is how files of one test signal are measured, drawn and printed.
type fileKind[T any] struct {
	measure  func(pcm.Reader) (T, error)
	setFloor func(result *T, floor T) error
	warnings func(*T) *[]string
	text     func(T) string
	chart    func(captures []named[T], floor *T) plot.Chart
}

var (
	toneFiles = fileKind[tone.Result]{tone.Measure, (*tone.Result).SetFloor,
		func(r *tone.Result) *[]string { return &r.Warnings }, toneText, toneChart}
	lowToneFiles = fileKind[tone.LowToneResult]{tone.LowTone, (*tone.LowToneResult).SetFloor,
		func(r *tone.LowToneResult) *[]string { return &r.Warnings }, lowToneText, lowToneChart}
	noiseFiles = fileKind[tone.NoiseResult]{noiseAlone, (*tone.NoiseResult).SetFloor,
		func(r *tone.NoiseResult) *[]string { return &r.Warnings }, noiseText, noiseChart}
	twoToneFiles = fileKind[tone.TwoToneResult]{tone.TwoTone, (*tone.TwoToneResult).SetFloor,
		func(r *tone.TwoToneResult) *[]string { return &r.Warnings }, twoToneText, twoToneChart}
	sweepFiles = fileKind[tone.SweepResult]{tone.Sweep, (*tone.SweepResult).SetFloor,
		func(r *tone.SweepResult) *[]string { return &r.Warnings }, sweepText, sweepChart}
)

// measured measures a file, and its floor where one is given, draws the result where a picture is asked for, and
// prints it. What is wrong with the floor or the overlay is warned of as well.
func measured[T any](ctx context.Context, a *app, path string, m measureFlags, kind fileKind[T]) error {
	if err := a.besides(ctx, path, m); err != nil {
		return err
	}
	result, err := measuredFile(ctx, a, path, kind.measure)
	if err != nil {
		return err
	}
	var floor *T
	if m.floor != "" {
		limit, err := measuredFile(ctx, a, m.floor, kind.measure)
		if err != nil {
			return err
		}
		if err := kind.setFloor(&result, limit); err != nil {
			return rejected(wrongFile(m.floor, err), floorHint)
		}
		kind.alsoOf(&result, m.floor, limit)
		floor = &limit
	}
	if m.plot != "" {
		captures := []named[T]{{filepath.Base(path), result}}
		if m.overlay != "" {
			other, err := measuredFile(ctx, a, m.overlay, kind.measure)
			if err != nil {
				return err
			}
			kind.alsoOf(&result, m.overlay, other)
			captures = append(captures, named[T]{filepath.Base(m.overlay), other})
		}
		if err := a.writePicture(ctx, m.plot, kind.chart(captures, floor)); err != nil {
			return err
		}
	}
	print := writeText(path, result, kind.text)
	return a.print(result, func(w io.Writer) {
		print(w)
		wrotePicture(w, m.plot)
	})
}

// alsoOf adds the warnings about another file to those of result.
func (k fileKind[T]) alsoOf(result *T, path string, other T) {
	list := k.warnings(result)
	*list = append(*list, warningsOf(path, *k.warnings(&other))...)
}

// warningsOf returns warnings under the name of the file that they are of.
func warningsOf(path string, warnings []string) []string {
	var list []string
	for _, w := range warnings {
		list = append(list, filepath.Base(path)+": "+w)
	}
	return list
}

func measuredFile[T any](ctx context.Context, a *app, path string, measure func(pcm.Reader) (T, error)) (T, error) {
	var none T
	f, err := a.open(ctx, path)
	if err != nil {
		return none, err
	}
	defer f.Close()
	result, err := measure(a.watched(ctx, f, "measuring"))
	if err != nil && ctx.Err() != nil {
		return none, ctx.Err()
	}
	return result, rejected(wrongFile(path, err), "is this the capture of the signal for this measurement?")
}

func wrongFile(path string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", path, err)
}

func (a *app) measureNoise(ctx context.Context, path string, m measureFlags) error {
	kind := noiseFiles
	if m.reference == "" {
		return measured(ctx, a, path, m, kind)
	}
	reference, err := a.open(ctx, m.reference)
	if err != nil {
		return err
	}
	defer reference.Close()
	kind.measure = func(r pcm.Reader) (tone.NoiseResult, error) { return tone.Noise(r, reference) }
	return measured(ctx, a, path, m, kind)
}

func noiseAlone(r pcm.Reader) (tone.NoiseResult, error) { return tone.Noise(r, nil) }
