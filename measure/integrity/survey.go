package integrity

import (
	"math"
	"math/bits"

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
	l := loudest{}
	grid := uint64(0)
	err := pcm.Blocks(r, anchorFrames, func(block [][]float64, from int) error {
		for c, x := range block {
			sum := 0.0
			for _, v := range x {
				sum += v * v
				w := math.Abs(v) * (1 << 31)
				if w != math.Trunc(w) {
					w = 1 // no grid: all 32 bits
				}
				grid |= uint64(w)
			}
			// Twice as loud as the best so far, so that the first of equals is kept.
			if rms := math.Sqrt(sum / float64(len(x))); rms > 2*l.rms && len(x) == min(anchorFrames, r.Frames()) {
				l.rms, l.channel, l.frame = rms, c, from
			}
		}
		return nil
	})
	l.silent = l.rms == 0
	l.bits = 32
	if grid != 0 {
		l.bits = max(1, 32-bits.TrailingZeros64(grid))
	}
	return l, err
}
