package integrity

import (
	"heardiff/measure"
	"heardiff/playback/pcm"
)

// loudest is the first stretch of a recording loud enough to look for, and its loudest channel.
type loudest struct {
	channel, frame int
	rms            float64
	bits           int // shortest word length that holds every sample; 32 where none does
	silent         bool
}

// survey reads all of r.
func survey(r pcm.Reader) (loudest, error) {
	var words measure.WordLength
	seen, err := measure.SurveyOf(r, anchorFrames, func(block [][]float64, _ int) {
		for _, x := range block {
			words.Write(x, r.Format())
		}
	})
	l := loudestOf(seen)
	l.silent = l.rms == 0
	l.bits = 32
	if n := words.Bits(); n > 0 {
		l.bits = int(n)
	}
	return l, err
}

// loudestOf returns the stretch, a full block unless the recording is shorter, that is twice as loud as any before it, so that the
// first of equals is kept.
func loudestOf(seen measure.Survey) loudest {
	l := loudest{}
	for i := range max(1, seen.Frames/seen.Block) {
		for c, levels := range seen.Levels {
			if i < len(levels) && levels[i] > 2*l.rms {
				l.rms, l.channel, l.frame = levels[i], c, i*seen.Block
			}
		}
	}
	return l
}
