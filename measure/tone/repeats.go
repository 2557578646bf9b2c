package tone

import (
	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// repeats finds blocks that a recorder wrote twice: a buffer sent twice. Recorded words hold noise, so that no window
// of them comes back by chance; a digital signal that is periodic in itself comes back all the time, and is distinguished from a
// fault by that.
//
// Only windows whose hash begins with repeatSieve zeros, one in sixteen, are kept and looked
// up: which those are depends on the samples alone, so that both copies of a block choose the same ones.
type repeats struct {
	rate   pcm.Rate
	roller measure.Roller
	frames int

	recent map[uint64]int // where a chosen window ended last
	order  []chosenWindow // of recent, oldest first

	chosen, matched int
	lag, run        int // of the block being followed, and its chosen windows
	blocks          int
	firstFrame      int
	firstLag        int
}

type chosenWindow struct {
	hash  uint64
	frame int
}

const (
	repeatSeconds = 2 // a buffer that comes back does so within this time
	repeatWindows = 8 // about 128 frames: the shortest block that is found
	repeatSieve   = 4 // zeros that the hash of a chosen window begins with
	// mostMatched is how large a share of the chosen windows must come back for the signal to be taken for a periodic one. A judgement, no
	// source; TestFaultsOfTheRecorderAreNamed holds it.
	mostMatched = 0.1
)

func newRepeats(rate pcm.Rate) *repeats {
	return &repeats{rate: rate, recent: map[uint64]int{}}
}

// write takes the next samples of one channel.
func (r *repeats) write(x []float64) {
	channel := [][]float64{x}
	for i := range x {
		hash, ok := r.roller.Write(measure.RollWord(channel, i))
		r.frames++
		if ok && hash>>(64-repeatSieve) == 0 {
			r.choose(hash)
		}
	}
}

func (r *repeats) choose(hash uint64) {
	r.chosen++
	if before, ok := r.recent[hash]; ok {
		r.matched++
		r.follow(r.frames - before)
	}
	r.recent[hash] = r.frames
	r.order = append(r.order, chosenWindow{hash, r.frames})
	for len(r.order) > 0 && r.order[0].frame < r.frames-repeatSeconds*int(r.rate) {
		if r.recent[r.order[0].hash] == r.order[0].frame {
			delete(r.recent, r.order[0].hash)
		}
		r.order = r.order[1:]
	}
}

func (r *repeats) follow(lag int) {
	if lag != r.lag {
		r.lag, r.run = lag, 0
	}
	r.run++
	if r.run == repeatWindows {
		r.blocks++
		if r.blocks == 1 {
			r.firstFrame, r.firstLag = r.frames, lag
		}
	}
}

func (r *repeats) warnings() []warning.Warning {
	if r.blocks == 0 || float64(r.matched) > mostMatched*float64(r.chosen) {
		return nil
	}
	at := r.rate.Seconds(r.firstFrame)
	return []warning.Warning{warning.Newf(RepeatedBlocks, "%d blocks of samples come twice, the first before %.3f s, %d frames after its first time: the recorder repeated a buffer",
		r.blocks, at, r.firstLag).At(at).Of(float64(r.blocks), "blocks")}
}
