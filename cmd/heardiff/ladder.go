package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strconv"

	"github.com/spf13/pflag"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/impair"
	"heardiff/playback/pcm"
	"heardiff/trials/store"
	"heardiff/trials/store/whole"
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
	f.Uint64Var(&o.seed, "seed", 1, "of the random doses; each step adds one to it")
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
	return l, misused(l.Validate(fastest))
}

// fastest is the highest rate of a WAV file: what is out of range there is so at every rate.
const fastest = pcm.Rate(768_000)

// dosed says which known dose a presentation carries. It stands in the presentation's result.
type dosed struct {
	Quantity impair.Quantity `json:"quantity"`
	Words    string          `json:"words"` // doses of equal words are doses of the same thing
	Value    float64         `json:"dose"`
	Unit     string          `json:"unit"`
	impair.Rendered
}

// treatment names the presentation among those of its chain.
func (d dosed) treatment() string {
	return d.size() + " " + d.Unit + " " + d.Words
}

// size is the dose as people read it.
func (d dosed) size() string { return strconv.FormatFloat(fourDigits(d.Value), 'f', -1, 64) }

// fourDigits rounds to four significant digits, or to a whole number where that is finer.
func fourDigits(v float64) float64 {
	scale := math.Pow(10, math.Max(0, 3-math.Floor(math.Log10(math.Abs(v)))))
	return math.Round(v*scale) / scale
}

// prepareLadder puts a ladder of doses into an excerpt.
func (a *app) prepareLadder(ctx context.Context, o prepareOptions) error {
	ladder, err := o.ladder.ladder()
	if err != nil {
		return err
	}
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	excerpt, warnings, err := a.excerptForLadder(ctx, s, o)
	if err != nil {
		return err
	}
	clean, err := cleanPresentation(excerpt, o.ladder.chain)
	if err != nil {
		return err
	}
	e, err := a.climb(ctx, s, excerpt, clean, ladder)
	if err != nil {
		return err
	}
	p := preparation{Schema: "heardiff.prepare/1", Excerpts: []preparedExcerpt{e}, Warnings: warnings}
	return a.print(p, func(w io.Writer) { p.text(w) })
}

// excerptForLadder returns the excerpt that gets the doses; one that is asked for by its place, or the study's first, is
// cut now.
func (a *app) excerptForLadder(ctx context.Context, s *store.Store, o prepareOptions) (store.Excerpt, []string, error) {
	all, err := s.Excerpts(ctx)
	if err != nil {
		return store.Excerpt{}, nil, err
	}
	for _, e := range all {
		if o.ladder.of == e.Name {
			return e, nil, nil
		}
	}
	cutNow := o.excerpt != "" || o.music != "" || o.name != ""
	switch {
	case o.ladder.of != "":
		return store.Excerpt{}, nil, rejected(fmt.Errorf("no prepared excerpt %q", o.ladder.of), `without --of, "heardiff prepare --ladder" cuts one`)
	case len(all) == 1 && !cutNow:
		return all[0], nil, nil
	case len(all) > 1 && !cutNow:
		return store.Excerpt{}, nil, misusedf("there are %d excerpts: choose one with --of (%s)", len(all), excerptNames(all))
	}
	captures, err := musicCaptures(ctx, s, o.music, 1)
	if err != nil {
		return store.Excerpt{}, nil, err
	}
	cut, warnings, err := a.cutExcerpt(ctx, s, captures, o)
	if err != nil {
		return store.Excerpt{}, nil, err
	}
	all, err = s.Excerpts(ctx)
	for _, e := range all {
		if e.Name == cut.Excerpt {
			return e, warnings, err
		}
	}
	return store.Excerpt{}, nil, errors.Join(err, fmt.Errorf("excerpt %q is gone", cut.Excerpt))
}

func cleanPresentation(e store.Excerpt, chain string) (store.Presentation, error) {
	for _, p := range e.Presentations {
		if p.Treatment == "" && (chain == "" || p.Chain == chain) {
			return p, nil
		}
	}
	return store.Presentation{}, rejected(fmt.Errorf("excerpt %q holds nothing of chain %q", e.Name, chain), `"heardiff prepare" cuts excerpts`)
}

// climb writes a file for every step and records them: all or none.
func (a *app) climb(ctx context.Context, s *store.Store, of store.Excerpt, clean store.Presentation, ladder impair.Ladder) (preparedExcerpt, error) {
	e := preparedExcerpt{Excerpt: of.Name, Music: of.Music, StartS: of.StartS, Seconds: of.Seconds, RateHz: of.RateHz}
	clip, err := a.readClip(ctx, s, clean)
	if err != nil {
		return e, err
	}
	steps, err := ladder.Doses(clip.Rate)
	if err != nil {
		return e, misused(err)
	}
	dir, err := freeFolder(ctx, s, "audio/excerpts/"+of.Name+"-"+clean.Chain+"-"+ladder.Quantity.String())
	if err != nil {
		return e, err
	}
	making, err := excerptFolder(s)
	if err != nil {
		return e, err
	}
	defer making.Discard()
	progress := a.progress("putting doses in")
	defer progress(1)
	var stored []store.Presentation
	for i, step := range steps {
		progress(float64(i) / float64(len(steps)))
		one, err := writeStep(making.Path, dir, i, clip, clean, ladder, step)
		if err != nil {
			return e, err
		}
		kept, err := storedPresentation(one, one.Dosed.treatment(), step.Value)
		if err != nil {
			return e, err
		}
		e.Presentations, stored = append(e.Presentations, one), append(stored, kept)
	}
	return e, commitLadder(ctx, s, making, dir, of.Name, stored)
}

// writeStep renders one dose into the temporary folder; dir is where it will stand.
func writeStep(temporary, dir string, i int, clip pcm.Clip, clean store.Presentation, ladder impair.Ladder, step impair.Step) (preparedPresentation, error) {
	r, err := impair.Render(clip, step.Dose)
	if err != nil {
		return preparedPresentation{}, rejected(fmt.Errorf("dose %g %s: %w", step.Value, ladder.Quantity.Unit(), err), "choose --from and --to so that every step can be played and differs")
	}
	var of preparedPresentation
	if err := wire.Unmarshal(clean.Result, &of); err != nil {
		return of, fmt.Errorf("presentation of chain %q: %w", clean.Chain, err)
	}
	file := fmt.Sprintf("step-%02d.wav", i+1)
	of.SHA256, err = writeClip(filepath.Join(temporary, file), r.Clip, noteOf(clean.Excerpt, clean.Chain))
	of.Chain, of.Path = clean.Chain, dir+"/"+file
	of.Dosed = &dosed{Quantity: ladder.Quantity, Words: ladder.Words(clip.Rate), Value: step.Value, Unit: ladder.Quantity.Unit(), Rendered: r}
	return of, err
}

// freeFolder returns base, or base with the first number that no record names.
func freeFolder(ctx context.Context, s *store.Store, base string) (string, error) {
	dir := base
	for n := 2; ; n++ {
		if taken, err := hasRecord(ctx, s, dir); err != nil || !taken {
			return dir, err
		}
		dir = fmt.Sprintf("%s-%d", base, n)
	}
}

func commitLadder(ctx context.Context, s *store.Store, making *whole.Folder, dir, excerpt string, p []store.Presentation) error {
	err := placeAudio(ctx, s, dir, making.Place, func() error { return s.AddPresentations(ctx, excerpt, p) })
	if errors.Is(err, store.ErrExists) {
		return rejected(fmt.Errorf("excerpt %q holds one of these doses already", excerpt), "choose other doses, or another excerpt with --of")
	}
	return inStudy(err)
}

func (a *app) readClip(ctx context.Context, s *store.Store, p store.Presentation) (pcm.Clip, error) {
	f, err := a.openRecorded(ctx, s, recordedFile{p.Path, p.SHA256})
	if err != nil {
		return pcm.Clip{}, err
	}
	defer f.Close()
	return pcm.Load(f, 0, f.Frames())
}

// ladderText prints the steps of a ladder.
func (e preparedExcerpt) ladderText(w io.Writer) {
	d := e.Presentations[0].Dosed
	fmt.Fprintf(w, "excerpt %s of %s: %d doses of %s\n", e.Excerpt, e.Presentations[0].Chain, len(e.Presentations), d.Words)
	t := newTable("dose ("+d.Unit+")", "change (dB)", "peak (dBFS)", "seed", "file")
	t.right(0, 1, 2, 3)
	for _, p := range e.Presentations {
		t.row(p.Dosed.size(), figure(p.Dosed.DifferenceDB, "%.1f"), figure(p.Dosed.Done.PeakDBFS, "%.2f"), fmt.Sprint(p.Dosed.Done.Dose.Seed), p.Path)
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
