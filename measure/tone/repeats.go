package tone

import (
	"fmt"
	"math"

	"heardiff/playback/pcm"
)

// repeats finds blocks that a recorder wrote twice: a buffer sent again. Recorded words hold noise, so that no window
// of them comes back by chance; a digital signal that is periodic in itself comes back all the time, and is told from a
// fault by that.
//
// A rolling hash runs over windows of windowFrames. Only windows whose hash begins with four zeros, one in sixteen, are kept and looked
// up: which those are depends on the samples alone, so that both copies of a block choose the same ones.
type repeats struct {
	rate   pcm.Rate
	ring   [windowFrames]uint64
	hash   uint64
	equal  int // neighbours within the window that are equal
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
	windowFrames  = 64
	windowPrime   = 0x9E3779B97F4A7C15 // any large odd number
	repeatSeconds = 2                  // a buffer that comes back does so within this time
	repeatWindows = 8                  // about 128 frames: the shortest block that is told
)

func newRepeats(rate pcm.Rate) *repeats {
	return &repeats{rate: rate, recent: map[uint64]int{}, equal: windowFrames - 1}
}

// leaving is windowPrime to the power of windowFrames: the weight of the sample that leaves the window.
func leaving() uint64 {
	w := uint64(1)
	for range windowFrames {
		w *= windowPrime
	}
	return w
}

// write takes the next samples of one channel.
func (r *repeats) write(x []float64) {
	out := leaving()
	for _, v := range x {
		word := mixed(math.Float64bits(v))
		at := r.frames % windowFrames
		r.hash = r.hash*windowPrime + word - r.ring[at]*out
		if r.ring[(at+1)%windowFrames] == r.ring[at] { // the pair that leaves
			r.equal--
		}
		if word == r.ring[(at+windowFrames-1)%windowFrames] {
			r.equal++
		}
		r.ring[at] = word
		r.frames++
		// Silence and held values repeat without a fault.
		if r.frames >= windowFrames && r.hash>>60 == 0 && r.equal < windowFrames/2 {
			r.choose()
		}
	}
}

// mixed spreads what differs between two words over all bits. Quiet words differ in a few of the upper ones only, and
// products would leave the lower ones alone.
// ref: the finaliser of SplitMix64: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", 2014.
func mixed(x uint64) uint64 {
	x = (x ^ x>>30) * 0xBF58476D1CE4E5B9
	x = (x ^ x>>27) * 0x94D049BB133111EB
	return x ^ x>>31
}

func (r *repeats) choose() {
	r.chosen++
	if before, ok := r.recent[r.hash]; ok {
		r.matched++
		r.follow(r.frames - before)
	}
	r.recent[r.hash] = r.frames
	r.order = append(r.order, chosenWindow{r.hash, r.frames})
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

func (r *repeats) warnings() []string {
	if r.blocks == 0 || r.matched > r.chosen/10 {
		return nil
	}
	return []string{fmt.Sprintf("%d blocks of samples come twice, the first before %.3f s, %d frames after its first time: the recorder repeated a buffer",
		r.blocks, r.rate.Seconds(r.firstFrame), r.firstLag)}
}
