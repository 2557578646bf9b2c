package main

import (
	"context"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/measure/jitter"
	"heardiff/trials"
	"heardiff/trials/study"
)

// measureFlags are the flags of measure on a file.
type measureFlags struct {
	as, floor, reference string
	plot, overlay        string
	band                 string
	jitter               jitter.Config
	given                []string // of kindOptions: those on the command line
}

func (a *app) measureCommand() *cobra.Command {
	var m measureFlags
	again := false
	c := &cobra.Command{
		Use:   "measure [FILE --as KIND]",
		Short: "measure a capture, or all that is new in the study",
		Long: `Measure a capture of a test signal; without FILE, every capture of the study that has not
been measured yet, against the latest capture of the same kind of a floor chain.

` + kindsHelp(study.MeasuredKinds()) + `
Close-in noise, a few hertz or less from the carrier, lies below the band of jitter and belongs to
the clock. A study's capture of the jitter signal is measured as both.

A steady tone does not show a lost or repeated block of whole periods: 4 samples of the jitter
signal. "heardiff integrity" does.

Lines of hum 33 dB or more above the noise in 1 Hz are within 0.3 dB however the mains wander;
weaker ones scatter more, and a recording of 60 s gives those at 21 dB as well.

With --floor, the same measurement of the recording set-up alone, each figure carries the
limit of the set-up: within 3 dB of it a figure is an upper bound. Record the floor with the
capture's signal, rate, channels and level: noise and hum are carried over to another level,
distortion cannot be.`,
		Example: "  heardiff measure\n  heardiff measure capture.wav --as jitter --floor loop.wav --plot jitter.svg",
		Args:    oneOrNone("one FILE at a time, or none for the study's captures,"),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				o, err := m.forStudy()
				if err != nil {
					return err
				}
				return a.measureStudy(c.Context(), again, o)
			}
			if again {
				return misusedf("--again is for the study's captures, without FILE")
			}
			for _, option := range kindOptions {
				if c.Flags().Changed(option) {
					m.given = append(m.given, option)
				}
			}
			return a.measureFile(c.Context(), args[0], m)
		},
	}
	m.fileFlags(c)
	a.forceFlag(c)
	c.Flags().BoolVar(&again, "again", false, "measure all captures of the study once more, as after a floor was added")
	m.jitterFlags(c)
	completeKinds(c, study.MeasuredKinds())
	c.AddCommand(a.transferCommand(), a.measureEnterCommand())
	return c
}

// fileFlags say what of one file is measured and drawn.
func (m *measureFlags) fileFlags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&m.as, "as", "", "`kind` of measurement: "+trials.AnyOf(study.NamesOf(study.MeasuredKinds())))
	f.StringVar(&m.floor, "floor", "", "`file` with the same measurement of the recording set-up alone")
	f.StringVar(&m.reference, "reference", "", "noise: `file` with a signal through the same chain, to which the noise is relative")
	f.StringVar(&m.overlay, "overlay", "", "another capture's `file`, drawn over this one with --plot")
	f.StringVar(&m.plot, "plot", "", "draw the result into `file`, .svg or .png")
}

func (m *measureFlags) jitterFlags(c *cobra.Command) {
	f := c.Flags()
	f.IntVar(&m.jitter.Bits, "bits", 24, "jitter: word length of the signal played, 16 or 24")
	f.Float64Var(&m.jitter.SignalRateHz, "signal-rate", 0, "jitter, clock: rate in `Hz` of the signal played (0: the nearest common one)")
	f.StringVar(&m.band, "band", "", "jitter: band `LO:HI` in Hz")
	f.BoolVar(&m.jitter.Spectrum, "spectrum", false, "jitter: add the density against jitter frequency")
}

// forStudy returns how a study's captures are measured, and refuses what belongs to one file.
func (m *measureFlags) forStudy() (study.MeasureOptions, error) {
	if m.as != "" {
		return study.MeasureOptions{}, misusedf("--as %s needs a FILE", m.as)
	}
	if m.floor != "" || m.plot != "" || m.overlay != "" || m.reference != "" {
		return study.MeasureOptions{}, misusedf("--floor, --plot, --overlay and --reference need a FILE; a study's floor is a chain of that role")
	}
	o, err := m.options()
	o.Jitter.Spectrum = true
	return o, err
}

// options checks what the command line says of all captures.
func (m *measureFlags) options() (study.MeasureOptions, error) {
	cfg, err := m.jitterConfig()
	if err != nil {
		return study.MeasureOptions{}, err
	}
	return study.MeasureOptions{Jitter: cfg}, misused(cfg.Validate())
}

func (a *app) transferCommand() *cobra.Command {
	var m measureFlags
	var floor string
	c := &cobra.Command{
		Use:   "transfer REF FILE",
		Short: "jitter attenuation from one capture to another, against jitter frequency",
		Long: `How much of the jitter of REF still shows in FILE, against jitter frequency. Where the jitter of FILE is
no more than 3 dB above the recording set-up's own (--floor), or is not clear of its noise, the
attenuation is given as a lower bound.`,
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
	c.Flags().StringVar(&floor, "floor", "", "`file` with the recording set-up alone, its output looped to its input")
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
	k, known := kindNamed(m.as)
	wanted := trials.AnyOf(study.NamesOf(study.MeasuredKinds()))
	switch {
	case m.overlay != "" && m.plot == "":
		return misusedf("--overlay %s needs --plot FILE", m.overlay)
	case m.as == "":
		return misusedf("--as is missing: %s", wanted)
	case !known:
		return misusedf("--as %q: %s wanted", m.as, wanted)
	case m.plot != "" && !k.shown.draws():
		return misusedf("--plot %s: there is no picture of %s", m.plot, k.Name)
	}
	for _, option := range m.given {
		if !k.shown.takes(option) {
			return misusedf("--%s goes with --as %s only", option, trials.AnyOf(taking(option)))
		}
	}
	if err := a.checkPicture(m.plot); err != nil {
		return err
	}
	o, err := m.options()
	if err != nil {
		return err
	}
	return k.shown.file(ctx, a, path, m, o)
}

// kindOptions are the flags of "measure" that some kinds take and others do not: see study.Measured.
var kindOptions = []string{"bits", "signal-rate", "band", "spectrum", "reference"}

// taking names the kinds that take one of kindOptions.
func taking(option string) []string {
	var names []string
	for _, k := range kinds() {
		if k.shown.takes(option) {
			names = append(names, k.Name)
		}
	}
	return names
}
