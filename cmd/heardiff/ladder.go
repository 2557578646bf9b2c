package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/pflag"

	"heardiff/measure/impair"
	"heardiff/playback/pcm"
	"heardiff/trials"
	"heardiff/trials/study"
)

// ladderOptions are the flags of "prepare --ladder".
type ladderOptions struct {
	quantity, of, chain, band, noise string
	from, to, jitterHz               float64
	steps                            int
	seed                             uint64
}

func (o *ladderOptions) define(f *pflag.FlagSet) {
	f.StringVar(&o.quantity, "ladder", "", "make graded doses of `kind`: random-jitter, periodic-jitter, noise or gain")
	f.Float64Var(&o.from, "from", 0, "the ladder's first `dose`: ps RMS, dBFS of noise, or dB of gain")
	f.Float64Var(&o.to, "to", 0, "the ladder's last `dose`")
	f.IntVar(&o.steps, "steps", 8, "`number` of doses")
	f.StringVar(&o.of, "of", "", "the prepared `excerpt` to put doses into (else the only one, or one cut now)")
	f.StringVar(&o.chain, "chain", "", "the `chain` whose presentation gets the doses (else the excerpt's first)")
	f.Float64Var(&o.jitterHz, "jitter-hz", 0, "frequency of periodic jitter in `Hz`")
	f.StringVar(&o.band, "jitter-band", "", "`LOW:HIGH` in Hz of random jitter (else 10 to 20000, at most 0.9 of Nyquist)")
	f.StringVar(&o.noise, "noise", "white", "`colour` of noise: white or pink")
	f.Uint64Var(&o.seed, "seed", 1, "`seed` of the random doses; each step adds one to it")
}

// ladder turns the flags into a ladder.
func (o ladderOptions) ladder() (impair.Ladder, error) {
	l := impair.Ladder{From: o.from, To: o.to, Steps: o.steps, FreqHz: o.jitterHz, Seed: o.seed}
	var err error
	if l.Quantity, err = impair.ParseQuantity(o.quantity); err != nil {
		return l, misused(err)
	}
	if l.Colour, err = impair.ParseColour(o.noise); err != nil {
		return l, misused(err)
	}
	var band impair.Jitter
	if err := parseBand(o.band, &band); err != nil {
		return l, misused(err)
	}
	l.LowHz, l.HighHz = band.LowHz, band.HighHz
	return l, misused(l.Validate(pcm.MaxRate)) // what is out of range there is so at every rate
}

// prepareLadder puts a ladder of doses into an excerpt.
func (a *app) prepareLadder(ctx context.Context, o prepareOptions) error {
	ladder, err := o.ladder.ladder()
	if err != nil {
		return err
	}
	return a.prepare(ctx, o, func(s *study.Study, ctx context.Context, cut study.PrepareOptions) (study.Preparation, error) {
		return s.PrepareLadder(ctx, study.LadderOptions{Ladder: ladder, Of: o.ladder.of, Chain: o.ladder.chain, PrepareOptions: cut})
	})
}

// ladderText prints the steps of a ladder.
func ladderText(w io.Writer, e study.PreparedExcerpt) {
	d := e.Presentations[0].Dosed
	fmt.Fprintf(w, "excerpt %s of %s: %s of %s\n", e.Excerpt, e.Presentations[0].Chain, trials.Counted(len(e.Presentations), "dose"), d.Words)
	t := newTable("dose ("+d.Unit+")", "change (dB)", "peak (dBFS)", "seed", "file")
	t.right(0, 1, 2, 3)
	for _, p := range e.Presentations {
		t.row(p.Dosed.Size(), figure(p.Dosed.DifferenceDB, "%.1f"), figure(p.Dosed.Done.PeakDBFS, "%.2f"), fmt.Sprint(p.Dosed.Done.Dose.Seed), p.Path)
	}
	t.print(w, "\n")
	fmt.Fprintf(w, "\nheardiff plan new --ladder %s --trials N  compares the clean excerpt with each of them\n", d.Quantity)
}

// onlyWith refuses flags that mean nothing without another.
func onlyWith(f *pflag.FlagSet, needed string, names ...string) error {
	for _, name := range names {
		if f.Changed(name) {
			return misusedf("--%s goes with --%s", name, needed)
		}
	}
	return nil
}
