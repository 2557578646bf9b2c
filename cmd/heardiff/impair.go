package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/measure/impair"
	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/stats/wire"
	"heardiff/trials"
)

// impairOptions are the flags of "impair".
type impairOptions struct {
	out, band, noise   string
	jitter             []string
	jitterPS, jitterHz []float64
	noiseDBFS, gain    float64
	delay, drift       float64
	humHz, humDBFS     float64
	humHarmonics, bits int
	seed               uint64
	given              func(flag string) bool
}

func (a *app) impairCommand() *cobra.Command {
	var o impairOptions
	c := &cobra.Command{
		Use:   "impair IN --out OUT",
		Short: "put a known dose of jitter, noise, hum, gain, delay or drift into clean audio",
		Long: `Put a known dose into clean audio: for threshold tests, and to check the measurements.
The copy is as long as the original; OUT.json, in the same folder, says exactly what was done.

--jitter may be given more than once, each with its own --jitter-ps and, for periodic jitter,
--jitter-hz. Jitter values are RMS; the peak of periodic jitter is 1.414 times as large.`,
		Example: "  heardiff impair clean.wav --out dose.wav --jitter random --jitter-ps 10000 --seed 7",
		Args:    exactArgs("IN"),
		RunE: func(c *cobra.Command, args []string) error {
			return a.impair(c.Context(), args[0], o)
		},
	}
	o.define(c.Flags())
	a.forceFlag(c)
	o.given = c.Flags().Changed
	return c
}

func (o *impairOptions) define(f *pflag.FlagSet) {
	f.StringVar(&o.out, "out", "", "`file` to write")
	f.StringArrayVar(&o.jitter, "jitter", nil, "`kind`: random or periodic; may be repeated")
	f.Float64SliceVar(&o.jitterPS, "jitter-ps", nil, "RMS value in `ps`, one for each --jitter")
	f.Float64SliceVar(&o.jitterHz, "jitter-hz", nil, "frequency in `Hz`, one for each periodic --jitter")
	f.Lookup("jitter-ps").DefValue, f.Lookup("jitter-hz").DefValue = "", "" // the help would show the empty list
	f.StringVar(&o.band, "jitter-band", "", "`LOW:HIGH` in Hz of random jitter (else 10 to 20000, at most 0.9 of Nyquist); jitter above half the rate minus a tone's frequency folds back")
	f.Float64Var(&o.noiseDBFS, "noise-dbfs", 0, "total `level` of added noise, 0 to Nyquist")
	f.StringVar(&o.noise, "noise", "white", "`colour`: white or pink")
	f.Float64Var(&o.humHz, "hum-hz", 50, "frequency of added hum in `Hz`")
	f.Float64Var(&o.humDBFS, "hum-dbfs", 0, "`level` of the hum's first harmonic; each next one is 6 dB lower")
	f.IntVar(&o.humHarmonics, "hum-harmonics", 3, "`number` of harmonics of the hum")
	f.Float64Var(&o.gain, "gain-db", 0, "gain in `dB`")
	f.Float64Var(&o.delay, "delay-samples", 0, "delay in `samples`, fractions allowed")
	f.Float64Var(&o.drift, "drift-ppm", 0, "clock drift in `ppm`; positive stretches")
	f.Uint64Var(&o.seed, "seed", 1, "`seed` of the random components")
	f.IntVar(&o.bits, "bits", 32, "16 or 24 (dithered, unless the words fit and the dose changes none), or 32-bit float")
}

func (o impairOptions) dose() (impair.Dose, error) {
	d := impair.Dose{GainDB: o.gain, DelaySamples: o.delay, DriftPPM: o.drift, Seed: o.seed}
	if len(o.jitterPS) != len(o.jitter) {
		return d, fmt.Errorf("%d values of --jitter-ps for %d of --jitter: one for each is wanted", len(o.jitterPS), len(o.jitter))
	}
	hz := o.jitterHz
	for i, kind := range o.jitter {
		j := impair.Jitter{Kind: impair.Random, RMSPS: o.jitterPS[i]}
		if err := oneOf("jitter", kind, "random", "periodic"); err != nil {
			return d, err
		}
		if kind == "periodic" {
			if len(hz) == 0 {
				return d, errors.New("--jitter periodic needs --jitter-hz")
			}
			j.Kind, j.FreqHz, hz = impair.Periodic, hz[0], hz[1:]
		} else if err := parseBand(o.band, &j); err != nil {
			return d, err
		}
		d.Jitter = append(d.Jitter, j)
	}
	if len(hz) > 0 {
		return d, fmt.Errorf("--jitter-hz %v belongs to no periodic --jitter", hz[0])
	}
	if err := o.idle(); err != nil {
		return d, err
	}
	if o.given("noise-dbfs") {
		n := impair.Noise{DBFS: o.noiseDBFS}
		if err := oneOf("noise", o.noise, "white", "pink"); err != nil {
			return d, err
		}
		if o.noise == "pink" {
			n.Colour = impair.Pink
		}
		d.Noise = append(d.Noise, n)
	}
	if o.given("hum-dbfs") {
		d.Hum = append(d.Hum, impair.Hum{FreqHz: o.humHz, DBFS: o.humDBFS, Harmonics: o.humHarmonics})
	}
	return d, nil
}

// idle refuses flags that describe a component that is not added.
func (o impairOptions) idle() error {
	for _, f := range []struct{ flag, level string }{{"noise", "noise-dbfs"}, {"hum-hz", "hum-dbfs"}, {"hum-harmonics", "hum-dbfs"}} {
		if o.given(f.flag) && !o.given(f.level) {
			return fmt.Errorf("--%s without --%s: nothing would be added", f.flag, f.level)
		}
	}
	if o.band != "" && !slices.Contains(o.jitter, "random") {
		return fmt.Errorf("--jitter-band %s belongs to no random --jitter", o.band)
	}
	return nil
}

func parseBand(text string, j *impair.Jitter) error {
	if text == "" {
		return nil
	}
	low, high, ok := strings.Cut(text, ":")
	var errLow, errHigh error
	j.LowHz, errLow = strconv.ParseFloat(low, 64)
	j.HighHz, errHigh = strconv.ParseFloat(high, 64)
	if !ok || errLow != nil || errHigh != nil {
		return fmt.Errorf("--jitter-band %q: want LOW:HIGH in Hz, such as 10:20000", text)
	}
	return nil
}

// floatBits is the word length at which samples are floating point.
const floatBits = 32

func (a *app) impair(ctx context.Context, path string, o impairOptions) error {
	if o.out == "" {
		return misusedf("--out is missing: where is the copy to go?")
	}
	if !slices.Contains([]int{16, 24, floatBits}, o.bits) {
		return misusedf("--bits %d: want 16, 24 or 32", o.bits)
	}
	dose, err := o.dose()
	if err != nil {
		return misused(err)
	}
	in, err := audiofile.Open(ctx, path)
	if err != nil {
		return err
	}
	defer in.Close()
	if sameFile(path, o.out) {
		return misusedf("--out %s is the input itself", o.out)
	}
	if err := dose.Validate(in.Format().Rate); err != nil {
		return misused(err)
	}
	to, err := a.destinationWAV(o.out)
	if err != nil {
		return err
	}
	done, clipped, err := writeImpaired(ctx, pcm.Until(ctx, in, a.progress("impairing")), dose, o, to)
	if errors.Is(err, impair.ErrNothingLeft) {
		return rejected(fmt.Errorf("%s: %w", path, err), "a shorter --delay-samples")
	}
	if err != nil {
		return err
	}
	if clipped {
		a.warn("the copy reaches %+.2f dBFS and was clipped or will be when played: use a lower --gain-db", done.PeakDBFS)
	}
	return a.print(done, func(w io.Writer) { printImpaired(w, o.out, done.Done) })
}

// sameFile reports whether two names are of one file that is there.
func sameFile(a, b string) bool {
	fa, errA := os.Stat(a)
	fb, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(fa, fb)
}

// impaired is what "impair" prints, and the sidecar.
type impaired struct {
	impair.Done
	Bits int `json:"bits"`
	// Dither is "tpdf", from the dose's seed, or "none": for floating point, and where the words pass as they are.
	Dither string `json:"dither"`
}

// words returns how samples become words of the file: a dose that changes none lets words that fit pass as they are.
func (o impairOptions) words(in pcm.Format, dose impair.Dose) (q *pcm.Quantizer, dither string) {
	switch {
	case o.bits == floatBits:
		return nil, "none"
	case dose.KeepsSamples() && !in.Float && in.Bits <= o.bits:
		return pcm.NewPlainQuantizer(o.bits), "none"
	}
	return pcm.NewQuantizer(o.bits, o.seed), "tpdf"
}

// writeImpaired writes the copy and its sidecar: both or none.
func writeImpaired(ctx context.Context, in pcm.Reader, dose impair.Dose, o impairOptions, to destination) (done impaired, clipped bool, err error) {
	format := pcm.Format{Rate: in.Format().Rate, Channels: in.Format().Channels, Bits: o.bits, Float: o.bits == floatBits}
	quantizer, dither := o.words(in.Format(), dose)
	out, err := to.wav(format, quantizer)
	if err != nil {
		return done, false, fmt.Errorf("write %s: %w", o.out, err)
	}
	defer out.discard()
	done = impaired{Bits: o.bits, Dither: dither}
	done.Done, err = impair.Apply(ctx, in, dose, out.Write)
	if err != nil {
		return done, false, err
	}
	sidecar, err := wire.Marshal(done)
	if err != nil {
		return done, false, err
	}
	if err := out.commit(ctx, sidecar); err != nil {
		return done, false, fmt.Errorf("write %s: %w", o.out, err)
	}
	return done, out.Clipped() > 0 || done.PeakDBFS > 0, nil
}

func printImpaired(w io.Writer, path string, d impair.Done) {
	fmt.Fprintf(w, "%s: %s at %d Hz, %s\n", printable.Text(path), trials.Counted(d.Frames, "frame"), d.RateHz, trials.Counted(d.Channels, "channel"))
	if len(d.Dose.Jitter) > 0 {
		fmt.Fprintf(w, "jitter  %.4g ps RMS, %.4g ps peak, all components together\n", d.JitterRMSPS, d.JitterPeakPS)
	}
	for _, n := range d.Dose.Noise {
		fmt.Fprintf(w, "noise   %v, %.2f dBFS\n", n.Colour, n.DBFS)
	}
	for _, h := range d.Dose.Hum {
		fmt.Fprintf(w, "hum     %.4g Hz, %d harmonics, %.2f dBFS\n", h.FreqHz, h.Harmonics, h.DBFS)
	}
	fmt.Fprintf(w, "gain    %+.4f dB\ndelay   %.6g samples\ndrift   %+.6g ppm\nseed    %d\npeak    %.2f dBFS\n",
		d.Dose.GainDB, d.Dose.DelaySamples, d.Dose.DriftPPM, d.Dose.Seed, d.PeakDBFS)
}
