package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/study"
)

func (a *app) signalCommand() *cobra.Command {
	var cfg signal.Config
	var out, dither, pair string
	var rate int
	var level float64
	c := &cobra.Command{
		Use:   "signal KIND",
		Short: "make a signal to send through a chain",
		Long: `Make a signal to send through a chain, and with it OUT.json: what it holds,
how to play it, and for how long to record.

  jitter     a tone at a quarter of the rate and a square wave of one step at rate/192
  tone       997 Hz, −1 dBFS          low-tone   997 Hz, −60 dBFS
  silence    dither only              two-tone   18 + 20 kHz equal; --pair low: 60 Hz + 7 kHz, 4:1; −1 dBFS
  sweep      exponential, 20 Hz to 20 kHz, −6 dBFS
  integrity  pseudo-random words with a sync mark: digital loops only
  level      pink noise for setting the listening level, −20 dBFS`,
		Example: "  heardiff signal jitter --rate 48000 --bits 24 --seconds 60 --out jitter48.wav",
		Args:    exactArgs("KIND"),
		RunE: func(c *cobra.Command, args []string) error {
			kind, err := signal.ParseKind(args[0])
			if err != nil {
				return misused(err)
			}
			if cfg.Channels == 0 { // the library's default, which nobody asks for by a number
				return misusedf("--channels 0: 1 to %d wanted", pcm.MaxChannels)
			}
			cfg.Kind, cfg.Rate = kind, pcm.Rate(rate)
			if c.Flags().Changed("dbfs") {
				cfg.LevelDBFS = &level
			}
			if err := cmp.Or(oneOf("dither", dither, "tpdf", "none"), oneOf("pair", pair, "high", "low")); err != nil {
				return err
			}
			if dither == "none" {
				cfg.Dither = signal.NoDither
			}
			if pair == "low" {
				cfg.Pair = signal.LowPair
			}
			return a.signal(c.Context(), cfg, out)
		},
	}
	f := c.Flags()
	f.IntVar(&rate, "rate", 48000, "sampling rate in `Hz`")
	f.IntVar(&cfg.Bits, "bits", 24, "word length, 16 or 24")
	f.IntVar(&cfg.Channels, "channels", 2, "channels, 1 to 8, all alike")
	f.Float64Var(&cfg.Seconds, "seconds", 60, "length in `seconds`")
	f.Float64Var(&level, "dbfs", 0, "level in `dBFS`, of two tones the peak of both (default: "+levelsByDefault()+")")
	f.StringVar(&pair, "pair", "high", "two-tone: high (18 + 20 kHz) or low (60 Hz + 7 kHz)")
	f.StringVar(&dither, "dither", "tpdf", "tpdf or none")
	f.Uint64Var(&cfg.Seed, "seed", 1, "`seed` of dither, noise and words")
	f.StringVar(&out, "out", "", "WAV `file` to write")
	a.forceFlag(c)
	return c
}

// levelsByDefault names the kinds that have a level to choose, each with its default.
func levelsByDefault() string {
	var list []string
	for kind := signal.Jitter; kind <= signal.Level; kind++ {
		if level := signal.DefaultLevel(kind); !math.IsNaN(level) {
			list = append(list, fmt.Sprintf("%v %s", kind, figure(level, "%g")))
		}
	}
	return strings.Join(list, ", ")
}

// signal writes the WAV file and its note.
func (a *app) signal(ctx context.Context, cfg signal.Config, out string) error {
	if out == "" {
		return misusedf("--out FILE is missing")
	}
	s, err := signal.New(cfg)
	if err != nil {
		return misused(err)
	}
	note := s.Note()
	note.Measure = measuringCommand(cfg.Kind)
	data, err := wire.Marshal(note)
	if err != nil {
		return fmt.Errorf("encode the note: %w", err)
	}
	if err := a.writeWAV(ctx, out, s, data); err != nil {
		return err
	}
	return a.print(note, func(w io.Writer) { printNote(w, note, out) })
}

// measuringCommand returns the command that measures captures of a signal.
func measuringCommand(played signal.Kind) string {
	all := study.CaptureKinds()
	i := slices.IndexFunc(all, func(k study.Kind) bool { return k.Signal == played })
	switch {
	case i < 0:
		return "heardiff inspect FILE"
	case all[i].Sent:
		return "heardiff integrity SENT RECEIVED"
	}
	return "heardiff measure CAPTURE --as " + all[i].Name
}

// writeWAV writes r, whose samples are words of its format already, and its note; it leaves nothing behind if it fails.
func (a *app) writeWAV(ctx context.Context, path string, r pcm.Reader, note []byte) error {
	to, err := a.destinationWAV(path)
	if err != nil {
		return err
	}
	f := r.Format()
	w, err := to.wav(f, pcm.NewPlainQuantizer(f.Bits))
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer w.discard()
	progress := a.progress("writing")
	err = pcm.Blocks(r, 1<<14, func(block [][]float64, from int) error {
		progress(float64(from) / float64(r.Frames()))
		if err := ctx.Err(); err != nil {
			return err
		}
		return w.Write(block)
	})
	progress(1)
	if err == nil {
		err = w.commit(ctx, note)
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}

func printNote(w io.Writer, n signal.Note, path string) {
	format := fmt.Sprintf("%d Hz, %d bits, %s, %g s", n.RateHz, n.Bits, trials.Counted(n.Channels, "channel"), n.Seconds)
	fmt.Fprint(w, paragraph("file", printable.Text(path)), paragraph("format", format), paragraph("holds", n.Holds),
		paragraph("dither", n.Dither), paragraph("play", n.Play), paragraph("record", n.Record), paragraph("measure", n.Measure))
	for _, c := range n.Cautions {
		fmt.Fprint(w, paragraph("caution", c))
	}
}

// paragraphColumns is the width of the lines of a note.
const paragraphColumns = 90

// paragraph returns text broken into lines of paragraphColumns, under its name.
func paragraph(name, text string) string {
	head := fmt.Sprintf("%-8s ", name)
	lines := printable.Wrap(strings.Repeat(" ", len(head))+text, paragraphColumns)
	return head + strings.TrimLeft(strings.Join(lines, "\n"), " ") + "\n"
}
