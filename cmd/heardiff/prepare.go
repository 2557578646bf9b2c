package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/impair"
	"heardiff/measure/match"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/trials/store"
	"heardiff/trials/store/whole"
)

// controlTreatment names the plain difference that practice and positive controls use.
const controlTreatment = "level −1.5 dB"

// controlDB is that difference: well above the 0.5 to 1 dB that people just notice in most sounds (Open University,
// OpenLearn "Hearing", 10.3), and downwards, so that it cannot clip.
const controlDB = -1.5

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
the very samples that will be played; more than 0.1 dB in level or 10 µs in time is refused.

Seconds count in the first chain's capture. Excerpts of 10 to 25 s listen best. Without --excerpt the
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
			return a.prepare(c.Context(), o)
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

// preparation is what "prepare" prints.
type preparation struct {
	Schema   string            `json:"schema"`
	Excerpts []preparedExcerpt `json:"excerpts"`
	Warnings []string          `json:"warnings"`
}

type preparedExcerpt struct {
	Excerpt string  `json:"excerpt"`
	Music   string  `json:"music"`
	StartS  float64 `json:"start_s"`
	Seconds float64 `json:"seconds"`
	RateHz  int     `json:"rate_hz"`

	Presentations []preparedPresentation `json:"presentations"`
	NullDB        float64                `json:"null_db"`
	LoopFrames    [2]int                 `json:"loop_frames"`
	// Changes says what was done to all presentations alike.
	Changes []string `json:"changes,omitempty"`
}

type preparedPresentation struct {
	Chain string `json:"chain"`
	Path  string `json:"path"`
	match.Presentation
	SHA256 string `json:"sha256"`
	Dosed  *dosed `json:"dosed,omitempty"`
}

func (a *app) prepare(ctx context.Context, o prepareOptions) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	captures, err := musicCaptures(ctx, s, o.music, 2)
	if err != nil {
		return err
	}
	e, warnings, err := a.cutExcerpt(ctx, s, captures, o)
	if err != nil {
		return err
	}
	p := preparation{Schema: "heardiff.prepare/1", Excerpts: []preparedExcerpt{e}, Warnings: warnings}
	return a.print(p, func(w io.Writer) { p.text(w) })
}

// cutExcerpt cuts the place that the flags name, or the first 20 s, out of the captures and keeps it.
func (a *app) cutExcerpt(ctx context.Context, s *store.Store, captures []store.Capture, o prepareOptions) (preparedExcerpt, []string, error) {
	cut, err := o.cut()
	if err != nil {
		return preparedExcerpt{}, nil, err
	}
	clips, err := a.match(ctx, s, captures, cut)
	if err != nil {
		return preparedExcerpt{}, nil, err
	}
	if o.name == "" {
		o.name = fmt.Sprintf("%s-%s-%s", captures[0].Music, trimmed(clips.StartS), trimmed(clips.Seconds))
	}
	e, err := a.keepExcerpt(ctx, s, o.name, captures, clips)
	return e, clips.Warnings, err
}

// cut reads the flags that say where to cut and what to call it.
func (o prepareOptions) cut() (match.Excerpt, error) {
	if o.name != "" {
		if err := checkName("excerpt", o.name); err != nil {
			return match.Excerpt{}, err
		}
	}
	return parseExcerpt(o.excerpt)
}

func trimmed(seconds float64) string { return strconv.FormatFloat(seconds, 'f', 0, 64) }

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
	if !(seconds > 0) { // 0 would stand for the usual length
		return cut, misusedf("--excerpt %q: a length above 0 is wanted, such as 30:15", text)
	}
	return cut, misused(cut.Validate())
}

// musicCaptures returns the latest music capture of each source chain; fewer than least are refused.
func musicCaptures(ctx context.Context, s *store.Store, music string, least int) ([]store.Capture, error) {
	all, err := s.Captures(ctx)
	if err != nil {
		return nil, err
	}
	chains, err := s.Chains(ctx)
	if err != nil {
		return nil, err
	}
	pieces := map[string]bool{}
	var found []store.Capture
	for _, chain := range chains {
		var latest *store.Capture
		for i, c := range all {
			if c.Chain == chain.Name && isPiece(c.Kind) && chain.Role == "source" && (music == "" || c.Music == music) {
				latest = &all[i]
				pieces[c.Music] = true
			}
		}
		if latest != nil {
			found = append(found, *latest)
		}
	}
	switch {
	case len(pieces) > 1:
		return nil, misusedf("there are %d pieces of music: choose one with --music (%s)", len(pieces), strings.Join(slices.Sorted(maps.Keys(pieces)), ", "))
	case len(found) < least:
		return nil, rejected(tooFew(found, music, least),
			`"heardiff capture add CHAIN FILE --as music" adds one`)
	}
	return found, nil
}

// tooFew says how many chains have captures of the music.
func tooFew(found []store.Capture, music string, least int) error {
	of, want := "music", map[int]string{1: "one is needed", 2: "two or more are needed"}[least]
	if music == "" && len(found) > 0 {
		music = found[0].Music
	}
	if music != "" {
		of = fmt.Sprintf("music %q", music)
	}
	switch len(found) {
	case 0:
		return fmt.Errorf("no source chain has a capture of %s: %s", of, want)
	case 1:
		return fmt.Errorf("only chain %q has a capture of %s: %s", found[0].Chain, of, want)
	}
	return fmt.Errorf("%d chains have captures of %s: %s", len(found), of, want)
}

func (a *app) match(ctx context.Context, s *store.Store, captures []store.Capture, cut match.Excerpt) (match.Prepared, error) {
	readers, done, err := a.openCaptures(ctx, s, captures, "matching")
	if err != nil {
		return match.Prepared{}, err
	}
	defer done()
	cut.Names = captureNames(captures)
	p, err := match.Prepare(readers, cut)
	return p, unmatched(err, `compare the captures with "heardiff compare A B"; record again what is damaged`)
}

// openCaptures opens the audio of captures, and shows how far the reading of all but the reference has come; done closes it.
func (a *app) openCaptures(ctx context.Context, s *store.Store, captures []store.Capture, doing string) (readers []pcm.Reader, done func(), err error) {
	var files []audioFile
	done = func() {
		for _, f := range files {
			f.Close()
		}
	}
	for i, c := range captures {
		f, err := a.openRecorded(ctx, s, recordedFile{c.Path, c.SHA256})
		if err != nil {
			done()
			return nil, nil, err
		}
		files = append(files, f)
		r := interruptible(ctx, f)
		if i > 0 || len(captures) == 1 { // the reference is read in step with each of the others
			r = a.watched(ctx, f, doing+" "+c.Chain)
		}
		readers = append(readers, r)
	}
	return readers, done, nil
}

// unmatched marks an error about the captures themselves as rejected.
func unmatched(err error, hint string) error {
	if errors.Is(err, match.ErrWandering) {
		hint = "take a shorter excerpt, or one from another place: the clock strays less over seconds; or record all chains by one clock"
	}
	if errors.Is(err, match.ErrMono) {
		hint = monoHint
	}
	if lead := (match.LeadIn{}); errors.As(err, &lead) {
		return failed(exitUsage, err, fmt.Sprintf("name the place: --excerpt %.1f:20 begins with the music; \"heardiff prepare --suggest 4\" looks for more", lead.MusicS))
	}
	if errors.Is(err, match.ErrUnfit) || errors.Is(err, match.ErrUnrelated) || errors.Is(err, pcm.ErrMismatch) {
		return rejected(err, hint)
	}
	return err
}

// captureNames returns the study's number of each capture, and its chain.
func captureNames(captures []store.Capture) match.Names {
	var names match.Names
	for _, c := range captures {
		names = append(names, fmt.Sprintf("capture %d (%s)", c.ID, c.Chain))
	}
	return names
}

// keepExcerpt writes the presentations and records them. Until all is well they stand in a folder of their own,
// which is removed where anything fails.
func (a *app) keepExcerpt(ctx context.Context, s *store.Store, name string, captures []store.Capture, p match.Prepared) (preparedExcerpt, error) {
	e := preparedExcerpt{Excerpt: name, Music: captures[0].Music, StartS: p.StartS, Seconds: p.Seconds, RateHz: int(p.Rate), NullDB: p.NullDB, LoopFrames: p.LoopFrames, Changes: p.Changes}
	making, err := excerptFolder(s)
	if err != nil {
		return e, err
	}
	defer making.Discard()
	stored := store.Excerpt{Name: name, Music: e.Music, StartS: p.StartS, Seconds: p.Seconds, RateHz: e.RateHz}
	for i, v := range p.Presentations {
		one, err := writePresentation(making.Path, name, captures[i].Chain, v)
		if err != nil {
			return e, err
		}
		e.Presentations = append(e.Presentations, one)
		kept, err := storedPresentation(one, "", 0)
		if err != nil {
			return e, err
		}
		stored.Presentations = append(stored.Presentations, kept)
		control, err := writeControl(making.Path, name, captures[i].Chain, v)
		if err != nil {
			return e, err
		}
		stored.Presentations = append(stored.Presentations, control)
	}
	if stored.Result, err = wire.Marshal(e); err != nil {
		return e, err
	}
	return e, commitExcerpt(ctx, s, making, stored)
}

// excerptFolder makes a folder for an excerpt on its way into the study.
func excerptFolder(s *store.Store) (*whole.Folder, error) {
	dir := s.Path("audio/excerpts")
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("make the excerpt's folder: %w", err)
	}
	making, err := whole.NewFolder(dir)
	if err != nil {
		return nil, fmt.Errorf("make the excerpt's folder: %w", err)
	}
	return making, nil
}

// commitExcerpt moves the folder into place and records it; both or neither.
func commitExcerpt(ctx context.Context, s *store.Store, making *whole.Folder, e store.Excerpt) error {
	err := placeAudio(ctx, s, "audio/excerpts/"+e.Name, making.Place, func() error { return s.SaveExcerpt(ctx, e) })
	if errors.Is(err, store.ErrExists) {
		return rejected(fmt.Errorf("excerpt %q: %w", e.Name, store.ErrExists), "give another one a name of its own: --name NAME")
	}
	return inStudy(err)
}

func writePresentation(dir, excerpt, chain string, v match.Presentation) (preparedPresentation, error) {
	file := chain + ".wav"
	sum, err := writeClip(filepath.Join(dir, file), v.Clip, noteOf(excerpt, chain))
	return preparedPresentation{Chain: chain, Path: "audio/excerpts/" + excerpt + "/" + file, Presentation: v, SHA256: sum}, err
}

func storedPresentation(p preparedPresentation, treatment string, dose float64) (store.Presentation, error) {
	result, err := wire.Marshal(p)
	return store.Presentation{Chain: p.Chain, Treatment: treatment, Dose: dose, Path: p.Path, SHA256: p.SHA256, Result: result}, err
}

// writeControl writes the plain difference: the same samples, softer.
func writeControl(dir, excerpt, chain string, v match.Presentation) (store.Presentation, error) {
	soft := pcm.NewClip(v.Clip.Rate, len(v.Clip.Channels), 0)
	_, err := impair.Apply(v.Clip, impair.Dose{GainDB: controlDB}, func(block [][]float64) error {
		for c, ch := range block {
			soft.Channels[c] = append(soft.Channels[c], ch...)
		}
		return nil
	})
	if err != nil {
		return store.Presentation{}, err
	}
	file := chain + "-softer.wav"
	sum, err := writeClip(filepath.Join(dir, file), soft, noteOf(excerpt, chain))
	if err != nil {
		return store.Presentation{}, err
	}
	v.LevelErrorDB, v.GainDB = controlDB, v.GainDB+controlDB
	return storedPresentation(preparedPresentation{Chain: chain, Path: "audio/excerpts/" + excerpt + "/" + file, Presentation: v, SHA256: sum}, controlTreatment, controlDB)
}

// noteOf is put into a presentation's file: of one length for all, and unlike that of any other. Plans know what is played by its hash: so
// the files of two chains differ even where both deliver the same samples.
func noteOf(excerpt, chain string) string {
	return fmt.Sprintf("%x", sha256.Sum256([]byte(excerpt+"\x00"+chain)))
}

// writeClip writes a clip as 32-bit float, with a note unless that is "", and returns the file's SHA-256.
func writeClip(path string, c pcm.Clip, note string) (string, error) {
	w, err := wav.Create(path, c.Format(), nil)
	if err != nil {
		return "", fmt.Errorf("write %s: %w", filepath.Base(path), err)
	}
	defer w.Abort()
	if note != "" {
		w.Note(note)
	}
	if err := w.Write(c.Channels); err != nil {
		return "", fmt.Errorf("write %s: %w", filepath.Base(path), err)
	}
	if err := w.Close(); err != nil {
		return "", fmt.Errorf("write %s: %w", filepath.Base(path), err)
	}
	return hashFile(path)
}

func (p preparation) text(w io.Writer) {
	for _, e := range p.Excerpts {
		if len(e.Presentations) > 0 && e.Presentations[0].Dosed != nil {
			e.ladderText(w)
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
		fmt.Fprintf(w, "\nall were %s\n", strings.Join(e.Changes, "; "))
	}
	for _, warning := range p.Warnings {
		fmt.Fprintf(w, "\nwarning: %s\n", warning)
	}
}
