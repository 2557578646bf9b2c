package study

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"

	"heardiff/measure/impair"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	"heardiff/stats/wire"
	"heardiff/trials/store/atomicfile"
)

// dosed says which known dose a presentation carries. It is part of the presentation's result.
type dosed struct {
	Quantity impair.Quantity `json:"quantity"`
	Words    string          `json:"words"` // doses with equal words are doses of the same thing
	Value    float64         `json:"dose"`
	Unit     string          `json:"unit"`
	BandHz   []float64       `json:"band_hz,omitempty"` // see impair.Ladder.Band
	impair.Rendered
}

// treatment names the presentation among those of its chain.
func (d dosed) treatment() string {
	return d.Size() + " " + d.Unit + " " + d.Words
}

// Size is the dose in a readable form.
func (d dosed) Size() string { return strconv.FormatFloat(fourDigits(d.Value), 'f', -1, 64) }

// fourDigits rounds to four significant digits, or to a whole number where that is finer.
func fourDigits(v float64) float64 {
	scale := math.Pow(10, math.Max(0, 3-math.Floor(math.Log10(math.Abs(v)))))
	return math.Round(v*scale) / scale
}

// LadderOptions says which doses PrepareLadder puts into what.
type LadderOptions struct {
	impair.Ladder
	Of    string // the prepared excerpt; "": the only one, or one that is cut now according to PrepareOptions
	Chain string // whose presentation gets the doses; "": the excerpt's first
	PrepareOptions
}

// PrepareLadder puts a ladder of doses into an excerpt.
func (s *Study) PrepareLadder(ctx context.Context, o LadderOptions) (Preparation, error) {
	excerpt, warnings, err := s.excerptForLadder(ctx, o)
	if err != nil {
		return Preparation{}, err
	}
	clean, err := cleanPresentation(excerpt, o.Chain)
	if err != nil {
		return Preparation{}, err
	}
	e, err := s.climb(ctx, excerpt, clean, o.Ladder)
	return Preparation{Schema: preparationSchema, Excerpts: []PreparedExcerpt{e}, Warnings: warnings}, err
}

// excerptForLadder returns the excerpt that gets the doses; an excerpt requested by its place, or the study's first, is cut now.
func (s *Study) excerptForLadder(ctx context.Context, o LadderOptions) (Excerpt, warning.Warnings, error) {
	all, err := s.Excerpts(ctx)
	if err != nil {
		return Excerpt{}, warning.Warnings{}, err
	}
	for _, e := range all {
		if o.Of == e.Name {
			return e, warning.Warnings{}, nil
		}
	}
	cutNow := o.Excerpt.StartS != 0 || o.Excerpt.LengthS != 0 || o.Music != "" || o.Name != ""
	switch {
	case o.Of != "":
		return Excerpt{}, warning.Warnings{}, advised(Rejection, fmt.Errorf("no prepared excerpt %q", o.Of), phrasef("without %v, %v cuts one", OptionOf, call(ToPrepareLadder)))
	case len(all) == 1 && !cutNow:
		return all[0], warning.Warnings{}, nil
	case len(all) > 1 && !cutNow:
		return Excerpt{}, warning.Warnings{}, misusedf("there are %d excerpts: choose one with %v (%s)", len(all), OptionOf, excerptNames(all))
	}
	captures, err := s.musicCaptures(ctx, o.Music, 1)
	if err != nil {
		return Excerpt{}, warning.Warnings{}, err
	}
	cut, warnings, err := s.cutExcerpt(ctx, captures, o.PrepareOptions)
	if err != nil {
		return Excerpt{}, warning.Warnings{}, err
	}
	all, err = s.Excerpts(ctx)
	for _, e := range all {
		if e.Name == cut.Excerpt {
			return e, warnings, err
		}
	}
	return Excerpt{}, warning.Warnings{}, errors.Join(err, fmt.Errorf("excerpt %q is gone", cut.Excerpt))
}

func cleanPresentation(e Excerpt, chain string) (Presentation, error) {
	for _, p := range e.Presentations {
		if p.Treatment == "" && (chain == "" || p.Chain == chain) {
			return p, nil
		}
	}
	return Presentation{}, advised(Rejection, fmt.Errorf("excerpt %q holds nothing of chain %q", e.Name, chain), phrasef("%v cuts excerpts", call(ToPrepare)))
}

// climb writes a file for every step and records them: all or none.
func (s *Study) climb(ctx context.Context, of Excerpt, clean Presentation, ladder impair.Ladder) (PreparedExcerpt, error) {
	e := PreparedExcerpt{Excerpt: of.Name, Music: of.Music, StartS: of.StartS, Seconds: of.Seconds, RateHz: of.RateHz}
	clip, err := s.readClip(ctx, clean)
	if err != nil {
		return e, err
	}
	steps, err := ladder.Doses(clip.Rate)
	if err != nil {
		return e, Misused(err)
	}
	dir, err := s.freeFolder(ctx, "audio/excerpts/"+of.Name+"-"+clean.Chain+"-"+ladder.Quantity.String())
	if err != nil {
		return e, err
	}
	making, err := s.excerptFolder()
	if err != nil {
		return e, err
	}
	defer making.Discard()
	progress := s.progress("putting doses in")
	defer progress(1)
	var stored []Presentation
	for i, step := range steps {
		progress(float64(i) / float64(len(steps)))
		one, err := writeStep(ctx, making.Path, dir, i, clip, clean, ladder, step)
		if err != nil {
			return e, err
		}
		kept, err := storedPresentation(one, one.Dosed.treatment(), step.Value)
		if err != nil {
			return e, err
		}
		e.Presentations, stored = append(e.Presentations, one), append(stored, kept)
	}
	return e, s.commitLadder(ctx, making, dir, of.Name, stored)
}

// writeStep renders one dose into the temporary folder; dir is where it will be placed.
func writeStep(ctx context.Context, temporary, dir string, i int, clip pcm.Clip, clean Presentation, ladder impair.Ladder, step impair.Step) (preparedPresentation, error) {
	r, err := impair.Render(ctx, clip, step.Dose)
	if err != nil {
		return preparedPresentation{}, advised(Rejection, fmt.Errorf("dose %g %s: %w", step.Value, ladder.Quantity.Unit(), err),
			phrasef("choose %v and %v so that every step can be played and differs", OptionFrom, OptionTo))
	}
	var of preparedPresentation
	if err := wire.Unmarshal(clean.Result, &of); err != nil {
		return of, fmt.Errorf("presentation of chain %q: %w", clean.Chain, err)
	}
	file := fmt.Sprintf("step-%02d.wav", i+1)
	of.SHA256, err = writeClip(filepath.Join(temporary, file), r.Clip, noteOf(clean.Excerpt, clean.Chain))
	of.Chain, of.Path = clean.Chain, dir+"/"+file
	of.Dosed = &dosed{Quantity: ladder.Quantity, Words: ladder.Words(clip.Rate), Value: step.Value, Unit: ladder.Quantity.Unit(), BandHz: ladder.Band(clip.Rate), Rendered: r}
	return of, err
}

// freeFolder returns base, or base with the first number that no record names.
func (s *Study) freeFolder(ctx context.Context, base string) (string, error) {
	dir := base
	for n := 2; ; n++ {
		if taken, err := s.hasRecord(ctx, dir); err != nil || !taken {
			return dir, err
		}
		dir = fmt.Sprintf("%s-%d", base, n)
	}
}

func (s *Study) commitLadder(ctx context.Context, making *atomicfile.Folder, dir, excerpt string, p []Presentation) error {
	err := s.placeAudio(ctx, dir, making.Place, func() error { return s.record.AddPresentations(ctx, excerpt, p) })
	if errors.Is(err, ErrExists) {
		return advised(Rejection, fmt.Errorf("excerpt %q holds one of these doses already", excerpt), phrasef("choose other doses, or another excerpt with %v", OptionOf))
	}
	return InStudy(err)
}

func (s *Study) readClip(ctx context.Context, p Presentation) (pcm.Clip, error) {
	f, err := s.openRecorded(ctx, recordedFile{path: p.Path, sum: p.SHA256})
	if err != nil {
		return pcm.Clip{}, err
	}
	defer f.Close()
	return pcm.Load(f, 0, f.Frames())
}
