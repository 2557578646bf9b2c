package study

import (
	"context"
	"fmt"
	"slices"

	"heardiff/playback/pcm"
	"heardiff/trials"
)

// audioSet is the prepared audio of a plan: by presentation, and which two presentations are the sources of each comparison.
type audioSet struct {
	files     []recordedFile
	frames    []int       // of each presentation
	envelopes [][]float64 // likewise, once it has been read
	sources   [][2]int    // by comparison
	last      pcm.Clip    // the presentation read last, in memory that is reused
	study     *Study
}

// envelopeParts is the number of points of an excerpt's outline.
const envelopeParts = 160

// audioOf finds the prepared audio of a plan and checks that it is the audio for which the plan was made.
func (s *Study) audioOf(ctx context.Context, p trials.Plan) (*audioSet, error) {
	set := &audioSet{study: s}
	index := map[string]int{}
	for _, c := range p.Comparisons {
		var pair [2]int
		for i, sum := range []string{c.AudioA, c.AudioB} {
			if _, known := index[sum]; !known {
				index[sum] = len(set.files)
				if err := set.add(ctx, sum); err != nil {
					return nil, err
				}
			}
			pair[i] = index[sum]
		}
		set.sources = append(set.sources, pair)
	}
	set.envelopes = make([][]float64, len(set.files))
	return set, nil
}

func (a *audioSet) add(ctx context.Context, sum string) error {
	p, err := a.study.record.PresentationBySHA(ctx, sum)
	if err != nil {
		return InStudy(err)
	}
	file := recordedFile{path: p.Path, sum: sum}
	f, err := a.study.openRecorded(ctx, file)
	if err != nil {
		return err
	}
	a.files, a.frames = append(a.files, file), append(a.frames, f.Frames())
	return f.Close()
}

// read returns a presentation, made as long as the longest: a loop never reaches beyond its own excerpt. The clip holds it until the
// next is read.
func (a *audioSet) read(ctx context.Context, i int) (pcm.Clip, error) {
	f, err := a.study.openRecorded(ctx, a.files[i])
	if err != nil {
		return pcm.Clip{}, err
	}
	defer f.Close()
	format, frames := f.Format(), f.Frames()
	if a.last.Rate != format.Rate || len(a.last.Channels) != format.Channels {
		a.last = pcm.NewClip(format.Rate, format.Channels, slices.Max(a.frames))
	}
	own := a.last.Slice(0, frames)
	if n, err := f.ReadFrames(own.Channels, 0); n < frames {
		return pcm.Clip{}, fmt.Errorf("%s: read %d of %d frames: %w", a.files[i].path, n, frames, err)
	}
	for _, ch := range a.last.Channels {
		clear(ch[frames:])
	}
	a.envelopes[i] = own.Envelope(envelopeParts)
	return a.last, nil
}

// clips reads all presentations, for a simulated listener.
func (a *audioSet) clips(ctx context.Context) ([]pcm.Clip, error) {
	all := make([]pcm.Clip, len(a.files))
	for i := range all {
		clip, err := a.read(ctx, i)
		if err != nil {
			return nil, err
		}
		all[i] = clip.Clone()
	}
	return all, nil
}

// excerpt returns the outline and the length in frames of a comparison's first source, whatever is hidden.
func (a *audioSet) excerpt(comparison int) (envelope []float64, frames int) {
	i := a.sources[comparison][trials.SourceA]
	return a.envelopes[i], a.frames[i]
}

// hear plays the due trial to an ear, and returns the answer that it picks.
func (a *audioSet) hear(session *trials.Session, clips []pcm.Clip, ear func(sounds []pcm.Clip) int) (trials.Answer, error) {
	design := session.View().Design
	var sounds []pcm.Clip
	for _, l := range design.Labels() {
		cue, err := session.Route(l)
		if err != nil {
			return trials.AnswerUnset, err
		}
		clip := clips[a.sources[cue.Comparison()][cue.Source()]]
		part := clip.Slice(clip.Len()/4, min(clip.Len(), clip.Len()/4+3*int(clip.Rate)))
		sounds = append(sounds, part)
		session.Heard(l, part.Len())
		session.Ran(int64(part.Len()), int(clip.Rate))
		session.Switched()
	}
	return design.Answers()[ear(sounds)], nil
}
