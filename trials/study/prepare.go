package study

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"heardiff/measure/impair"
	"heardiff/measure/match"
	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/stats/warning"
	"heardiff/stats/wire"
	"heardiff/trials/store"
	"heardiff/trials/store/atomicfile"
)

// controlTreatment names the plain difference that practice and positive controls use.
const controlTreatment = "level −1.5 dB"

// controlDB is that difference: well above the 0.5 to 1 dB that people just notice in most sounds (Open University,
// OpenLearn "Hearing", 10.3), and downwards, so that it cannot clip.
const controlDB = -1.5

// PreparedExcerpt is an excerpt that was cut, or given doses, and its presentations.
type PreparedExcerpt struct {
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

// PrepareOptions says what Prepare cuts. The zero value: the first 20 s that all captures of the only piece hold.
type PrepareOptions struct {
	Excerpt match.Excerpt
	Music   string // "": the only piece
	Name    string // name of the excerpt; "": derived from the piece and the place
}

const preparationSchema = "heardiff.prepare/1"

// Preparation is what was prepared.
type Preparation struct {
	Schema   string            `json:"schema"`
	Excerpts []PreparedExcerpt `json:"excerpts"`
	warning.Warnings
}

// Prepare cuts the same stretch out of the latest music capture of every source chain, so that nothing but the chain differs.
func (s *Study) Prepare(ctx context.Context, o PrepareOptions) (Preparation, error) {
	captures, err := s.musicCaptures(ctx, o.Music, 2)
	if err != nil {
		return Preparation{}, err
	}
	e, warnings, err := s.cutExcerpt(ctx, captures, o)
	return Preparation{Schema: preparationSchema, Excerpts: []PreparedExcerpt{e}, Warnings: warnings}, err
}

// cutExcerpt cuts the place that the options name out of the captures and keeps it.
func (s *Study) cutExcerpt(ctx context.Context, captures []store.Capture, o PrepareOptions) (PreparedExcerpt, warning.Warnings, error) {
	if o.Name != "" {
		if err := CheckName("excerpt", o.Name); err != nil {
			return PreparedExcerpt{}, warning.Warnings{}, err
		}
	}
	clips, err := s.match(ctx, captures, o.Excerpt)
	if err != nil {
		return PreparedExcerpt{}, warning.Warnings{}, err
	}
	if o.Name == "" {
		o.Name = fmt.Sprintf("%s-%s-%s", captures[0].Music, trimmed(clips.StartS), trimmed(clips.Seconds))
	}
	e, err := s.keepExcerpt(ctx, o.Name, captures, clips)
	return e, clips.Warnings, err
}

func trimmed(seconds float64) string { return strconv.FormatFloat(seconds, 'f', 0, 64) }

// musicCaptures returns the latest music capture of each source chain; fewer than least are refused.
func (s *Study) musicCaptures(ctx context.Context, music string, least int) ([]Capture, error) {
	all, err := s.Captures(ctx)
	if err != nil {
		return nil, err
	}
	chains, err := s.Chains(ctx)
	if err != nil {
		return nil, err
	}
	pieces := map[string]bool{}
	var found []Capture
	for _, chain := range chains {
		var latest *Capture
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
		return nil, misusedf("there are %d pieces of music: choose one with %v (%s)", len(pieces), OptionMusic, strings.Join(slices.Sorted(maps.Keys(pieces)), ", "))
	case len(found) < least:
		return nil, advised(Rejection, tooFew(found, music, least),
			phrasef("%v adds one", call(ToAddCapture, open(OptionChain), open(OptionFile), with(OptionKind, Music.Name))))
	}
	return found, nil
}

// tooFew says how many chains have captures of the music.
func tooFew(found []Capture, music string, least int) error {
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

func (s *Study) match(ctx context.Context, captures []Capture, cut match.Excerpt) (match.Prepared, error) {
	readers, done, err := s.openCaptures(ctx, captures, "matching")
	if err != nil {
		return match.Prepared{}, err
	}
	defer done()
	cut.Names = captureNames(captures)
	p, err := match.Prepare(readers, cut)
	return p, unmatched(err, phrasef("compare the captures with %v; record again what is damaged", call(ToCompare, open(OptionA), open(OptionB))))
}

// openCaptures opens the audio of captures, and shows the progress of reading all but the reference; done closes it.
func (s *Study) openCaptures(ctx context.Context, captures []Capture, doing string) (readers []pcm.Reader, done func(), err error) {
	var files []audiofile.File
	done = func() {
		for _, f := range files {
			f.Close()
		}
	}
	for i, c := range captures {
		f, err := s.openRecorded(ctx, recordedFile{path: c.Path, sum: c.SHA256})
		if err != nil {
			done()
			return nil, nil, err
		}
		files = append(files, f)
		r := pcm.Until(ctx, f, nil)
		if i > 0 || len(captures) == 1 { // the reference is read in step with each of the others
			r = pcm.Until(ctx, f, s.progress(doing+" "+c.Chain))
		}
		readers = append(readers, r)
	}
	return readers, done, nil
}

// MonoHint says where to look when one of two captures alone is mono.
const MonoHint = "look for a mono switch, or one channel wired to both inputs, in that chain; then capture it again"

// unmatched marks an error about the captures themselves as rejected.
func unmatched(err error, hint Phrase) error {
	if errors.Is(err, match.ErrWandering) {
		hint = phrasef("take a shorter excerpt, or one from another place: the clock strays less over seconds; or record all chains by one clock")
	}
	if errors.Is(err, match.ErrMono) {
		hint = phrasef(MonoHint)
	}
	if lead := (match.LeadIn{}); errors.As(err, &lead) {
		return advised(Misuse, err, phrasef("name the place: %v %.1f:20 begins with the music; %v looks for more", OptionExcerpt, lead.MusicS, call(ToSuggest)))
	}
	if errors.Is(err, match.ErrOutside) {
		hint = phrasef("ask for a stretch that all captures hold: %v START:LENGTH, in seconds of the first chain's capture", OptionExcerpt)
	}
	if errors.Is(err, match.ErrOutside) || errors.Is(err, match.ErrUnfit) || errors.Is(err, match.ErrUnrelated) || errors.Is(err, pcm.ErrMismatch) {
		return advised(Rejection, err, hint)
	}
	return err
}

// captureNames returns the study's number of each capture, and its chain.
func captureNames(captures []Capture) match.Names {
	var names match.Names
	for _, c := range captures {
		names = append(names, fmt.Sprintf("capture %d (%s)", c.ID, c.Chain))
	}
	return names
}

// keepExcerpt writes the presentations and records them. Until all are written they are in a temporary folder, which is removed if
// anything fails.
func (s *Study) keepExcerpt(ctx context.Context, name string, captures []Capture, p match.Prepared) (PreparedExcerpt, error) {
	e := PreparedExcerpt{Excerpt: name, Music: captures[0].Music, StartS: p.StartS, Seconds: p.Seconds, RateHz: int(p.Rate), NullDB: p.NullDB, LoopFrames: p.LoopFrames, Changes: p.Changes}
	making, err := s.excerptFolder()
	if err != nil {
		return e, err
	}
	defer making.Discard()
	stored := Excerpt{Name: name, Music: e.Music, StartS: p.StartS, Seconds: p.Seconds, RateHz: e.RateHz}
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
		control, err := writeControl(ctx, making.Path, name, captures[i].Chain, v)
		if err != nil {
			return e, err
		}
		stored.Presentations = append(stored.Presentations, control)
	}
	if stored.Result, err = wire.Marshal(e); err != nil {
		return e, err
	}
	return e, s.commitExcerpt(ctx, making, stored)
}

// excerptFolder makes a folder for an excerpt on its way into the study.
func (s *Study) excerptFolder() (*atomicfile.Folder, error) {
	making, err := atomicfile.NewFolderWithParents(s.Path("audio/excerpts"))
	if err != nil {
		return nil, fmt.Errorf("make the excerpt's folder: %w", err)
	}
	return making, nil
}

// commitExcerpt moves the folder into place and records it; both or neither.
func (s *Study) commitExcerpt(ctx context.Context, making *atomicfile.Folder, e Excerpt) error {
	err := s.placeAudio(ctx, "audio/excerpts/"+e.Name, making.Place, func() error { return s.record.SaveExcerpt(ctx, e) })
	if errors.Is(err, ErrExists) {
		return advised(Rejection, fmt.Errorf("excerpt %q: %w", e.Name, ErrExists), phrasef("give another one a name of its own: %v NAME", OptionName))
	}
	return InStudy(err)
}

func writePresentation(dir, excerpt, chain string, v match.Presentation) (preparedPresentation, error) {
	file := chain + ".wav"
	sum, err := writeClip(filepath.Join(dir, file), v.Clip, noteOf(excerpt, chain))
	return preparedPresentation{Chain: chain, Path: "audio/excerpts/" + excerpt + "/" + file, Presentation: v, SHA256: sum}, err
}

func storedPresentation(p preparedPresentation, treatment string, dose float64) (Presentation, error) {
	result, err := wire.Marshal(p)
	return Presentation{Chain: p.Chain, Treatment: treatment, Dose: dose, Path: p.Path, SHA256: p.SHA256, Result: result}, err
}

// writeControl writes the plain difference: the same samples, softer.
func writeControl(ctx context.Context, dir, excerpt, chain string, v match.Presentation) (Presentation, error) {
	soft := pcm.NewClip(v.Clip.Rate, len(v.Clip.Channels), 0)
	_, err := impair.Apply(ctx, v.Clip, impair.Dose{GainDB: controlDB}, func(block [][]float64) error {
		for c, ch := range block {
			soft.Channels[c] = append(soft.Channels[c], ch...)
		}
		return nil
	})
	if err != nil {
		return Presentation{}, err
	}
	file := chain + "-softer.wav"
	sum, err := writeClip(filepath.Join(dir, file), soft, noteOf(excerpt, chain))
	if err != nil {
		return Presentation{}, err
	}
	v.LevelErrorDB, v.GainDB = controlDB, v.GainDB+controlDB
	return storedPresentation(preparedPresentation{Chain: chain, Path: "audio/excerpts/" + excerpt + "/" + file, Presentation: v, SHA256: sum}, controlTreatment, controlDB)
}

// noteOf returns the note in a presentation's file: all have the same length, and no two are the same. Plans identify audio by its hash;
// the note makes the files of two chains differ even if both deliver the same samples.
func noteOf(excerpt, chain string) string {
	return fmt.Sprintf("%x", sha256.Sum256([]byte(excerpt+"\x00"+chain)))
}

// writeClip writes a clip as 32-bit float, with a note, and returns the file's SHA-256.
func writeClip(path string, c pcm.Clip, note string) (string, error) {
	if err := wav.Save(path, c, note); err != nil {
		return "", fmt.Errorf("write %s: %w", filepath.Base(path), err)
	}
	return hashFile(path)
}
