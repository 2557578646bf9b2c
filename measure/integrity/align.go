package integrity

import (
	"math"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// anchorFrames is how much of one recording is looked for in the other: short enough that two clocks 50 ppm
// apart keep within half a sample of each other over it.
const anchorFrames = 1 << 13

// What a correlation says of a place. Judgement, no source; TestEqualWordsAreFoundAtAnyOffset and TestUnrelatedAndUnequalShapesAreRefused
// hold them.
const (
	leastScore  = 0.3   // at the best place of two related recordings
	clearScore  = 0.99  // from which the search in the other direction is not needed
	sameWords   = 0.999 // from which no better place is looked for
	scoreTies   = 1e-9  // by which rounding alone makes two scores differ
	silentShare = 1e-9  // of a block's energy, below which a window has no score
)

// placed says where the beginning of the received recording is in the sent one, and how.
type placed struct {
	offset  int     // frame of sent at frame 0 of received; may be negative
	score   float64 // correlation, −1 to 1
	from    int     // channel of sent …
	channel int     // … that this channel of received carries
	frame   int     // of received, from which on it was found
}

// align finds the beginning of the one recording in the other: whichever begins later has its beginning in the
// other.
func align(sent, received pcm.Reader, levels [2]loudest) (placed, error) {
	forward, err := search(sent, received, levels[0].channel, levels[0].frame)
	if err != nil || math.Abs(forward.score) > clearScore {
		return forward, err
	}
	backward, err := search(received, sent, levels[1].channel, levels[1].frame)
	if err != nil {
		return placed{}, err
	}
	if math.Abs(backward.score) > math.Abs(forward.score) {
		return placed{offset: -backward.offset, score: backward.score, from: backward.channel, channel: backward.from, frame: levels[1].frame}, nil
	}
	return forward, nil
}

// search looks for the anchor, from a frame of needle's channel on, in all channels of hay.
func search(needle, hay pcm.Reader, channel, frame int) (placed, error) {
	anchor, err := pcm.Around(needle, frame, anchorFrames)
	if err != nil {
		return placed{}, err
	}
	const size = 1 << 15
	m := spectrum.NewMatcher(anchor[channel], size)
	found := placed{from: channel}
	block := pcm.Planes(hay.Format().Channels, size)
	for at := -anchorFrames; at < hay.Frames(); at += size - anchorFrames {
		if err := pcm.ReadAround(hay, block, at); err != nil {
			return placed{}, err
		}
		for c, x := range block {
			lag, score := best(m, x)
			if math.Abs(score) > math.Abs(found.score)+scoreTies {
				found = placed{offset: frame - (at + lag), score: score, from: channel, channel: c, frame: at + lag}
			}
		}
		if math.Abs(found.score) > sameWords {
			break
		}
	}
	return found, nil
}

// best returns where in x an anchor fits best, and the normalized correlation there.
func best(anchor *spectrum.Matcher, x []float64) (lag int, score float64) {
	energies, total := anchor.Match(x), floats.Dot(x, x)
	for i, energy := range energies[:len(energies)-1] {
		if energy > silentShare*total {
			if s := anchor.Products[i] / math.Sqrt(energy*anchor.Energy); math.Abs(s) > math.Abs(score)+scoreTies {
				lag, score = i, s
			}
		}
	}
	return lag, score
}
