package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/measure/match"
	"heardiff/trials/study"
)

// prepareOptions are the flags of "prepare".
type prepareOptions struct {
	excerpt, music, name string
	suggest              int
	length               float64
	ladder               ladderOptions
}

func (a *app) prepareCommand() *cobra.Command {
	var o prepareOptions
	c := &cobra.Command{
		Use:   "prepare [--excerpt START:LENGTH] [--music NAME] [--name NAME]",
		Short: "cut excerpts in which nothing but the chain differs",
		Long: `Cut the same stretch out of every chain's capture of a piece: aligned to a fraction of a
sample, drift taken out, polarity put right, levels matched (by least squares where the pair
nulls deeply, by BS.1770 loudness otherwise), ends faded. Unless whole samples do, all are
interpolated and low-passed alike at 0.907 of half the sample rate: 20 kHz at 44.1 kHz. What is left is measured again on
the very samples that will be played; more than 0.1 dB in level or 10 µs in time is refused. Other
differences are warned of as by "heardiff compare", and with the same limit: the lack of a warning
does not prove that none of the captures is a lossy copy.

Seconds count in the first chain's capture. Excerpts of 10 to 25 s work best. Without --excerpt the
first 20 s that all captures hold are cut; where they begin with silence, a place must be named. A
gain is what was applied to a capture: positive where it was too soft and was made louder.

--suggest looks for stretches worth listening to: transients, sustained high tones, quiet
passages, wide stereo, since jitter and noise show on different material.

--ladder puts graded doses of one thing into one chain's presentation of an excerpt: the
material of a threshold test. The clean excerpt is compared with each of them ("plan new
--ladder"). Jitter climbs in equal ratios, noise and gain in equal steps of decibels.`,
		Example: `  heardiff prepare --music suite --excerpt 30:15
  heardiff prepare --suggest 4
  heardiff prepare --ladder random-jitter --from 1000 --to 1000000 --steps 8`,
		Args: exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			if _, err := o.cut(); err != nil {
				return err
			}
			if c.Flags().Changed("suggest") {
				return a.suggest(c.Context(), o)
			}
			if o.ladder.quantity != "" {
				return a.prepareLadder(c.Context(), o)
			}
			if err := onlyWith(c.Flags(), "ladder", "from", "to", "steps", "of", "chain", "jitter-hz", "jitter-band", "noise", "seed"); err != nil {
				return err
			}
			if err := onlyWith(c.Flags(), "suggest", "length"); err != nil {
				return err
			}
			return a.prepare(c.Context(), o, (*study.Study).Prepare)
		},
	}
	f := c.Flags()
	f.StringVar(&o.excerpt, "excerpt", "", "`START:LENGTH` in seconds (else the first 20 s that all captures hold)")
	f.StringVar(&o.music, "music", "", "the `piece` (else the only one)")
	f.StringVar(&o.name, "name", "", "the excerpt's `name`")
	f.IntVar(&o.suggest, "suggest", 0, "look for so many `stretches` worth listening to, and cut nothing")
	f.Float64Var(&o.length, "length", 15, "length of a suggested stretch in `seconds`")
	o.ladder.define(f)
	return c
}

// prepare prepares an excerpt cut where the options say, by a method of the study, and prints it.
func (a *app) prepare(ctx context.Context, o prepareOptions, method func(*study.Study, context.Context, study.PrepareOptions) (study.Preparation, error)) error {
	cut, err := o.cut()
	if err != nil {
		return err
	}
	return a.inStudy(ctx, func(s *study.Study) error {
		p, err := method(s, ctx, cut)
		if err != nil {
			return err
		}
		return a.printStep(ctx, s, p, func(w io.Writer) { preparedText(w, p) })
	})
}

// cut reads the flags that say where to cut and what to call it.
func (o prepareOptions) cut() (study.PrepareOptions, error) {
	cut := study.PrepareOptions{Music: o.music, Name: o.name}
	if o.name != "" {
		if err := study.CheckName("excerpt", o.name); err != nil {
			return cut, err
		}
	}
	var err error
	cut.Excerpt, err = parseExcerpt(o.excerpt)
	return cut, err
}

// parseExcerpt reads START:LENGTH.
func parseExcerpt(text string) (match.Excerpt, error) {
	if text == "" {
		return match.Excerpt{}, nil
	}
	start, length, ok := strings.Cut(text, ":")
	from, err1 := strconv.ParseFloat(start, 64)
	seconds, err2 := strconv.ParseFloat(length, 64)
	cut := match.Excerpt{StartS: from, LengthS: seconds}
	if !ok || err1 != nil || err2 != nil || math.IsInf(from+seconds, 0) {
		return cut, misusedf("--excerpt %q: START:LENGTH in seconds, such as 30:15", text)
	}
	if !(seconds > 0) { // 0 would mean the default length
		return cut, misusedf("--excerpt %q: a length above 0 is wanted, such as 30:15", text)
	}
	return cut, misused(cut.Validate())
}

func preparedText(w io.Writer, p study.Preparation) {
	for _, e := range p.Excerpts {
		if len(e.Presentations) > 0 && e.Presentations[0].Dosed != nil {
			ladderText(w, e)
			continue
		}
		fmt.Fprintf(w, "excerpt %s: %s, %.2f s from %.2f s, %d Hz\n", e.Excerpt, e.Music, e.Seconds, e.StartS, e.RateHz)
		t := newTable("chain", "offset (s)", "drift (ppm)", "gain applied (dB)", "polarity", "level by", "level error (dB)", "time error (µs)", "null (dB)")
		t.right(1, 2, 3, 6, 7, 8)
		for _, v := range e.Presentations {
			t.row(v.Chain, figure(v.OffsetS, "%.6f"), figure(v.DriftPPM, "%.3f"), figure(v.GainDB, "%.3f"), v.Polarity, v.LevelBy,
				figure(v.LevelErrorDB, "%.4f"), figure(v.OffsetErrorUS, "%.3f"), figure(v.NullDB, "%.1f"))
		}
		t.print(w, "\n")
		fmt.Fprintf(w, "\nGain applied: + makes a capture louder, − softer, until all are equally loud.\nAll were %s.\n", strings.Join(e.Changes, "; "))
	}
	warningsText(w, p.Warnings)
}
