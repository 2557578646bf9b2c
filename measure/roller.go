package measure

import "math"

// RollFrames is how many frames a Roller's hash covers: recorded words hold noise, so that a run of that length
// does not come back by chance.
const RollFrames = 64

const rollPrime = 0x9E3779B97F4A7C15 // any large odd number

// Roller keeps a hash of the last RollFrames frames of audio, so that their place elsewhere can be looked up by
// what they hold. The zero value is ready.
type Roller struct {
	ring   [RollFrames]uint64
	hash   uint64
	frames int
	equal  int // neighbours within the window that are equal
}

// rollLeaving is the weight of the frame that leaves the window: rollPrime to the power of RollFrames.
var rollLeaving = func() uint64 {
	w := uint64(1)
	for range RollFrames {
		w *= rollPrime
	}
	return w
}()

// Write takes the next frame, as the word that RollWord makes of it, and returns the hash of the window that it
// ends. ok is false where that is too short yet, or so plain (silence, held values) that it occurs anywhere.
func (r *Roller) Write(word uint64) (hash uint64, ok bool) {
	at := r.frames % RollFrames
	r.hash = r.hash*rollPrime + word - r.ring[at]*rollLeaving
	if r.frames >= RollFrames && r.ring[(at+1)%RollFrames] == r.ring[at] { // the pair that leaves
		r.equal--
	}
	if r.frames > 0 && word == r.ring[(at+RollFrames-1)%RollFrames] {
		r.equal++
	}
	r.ring[at] = word
	r.frames++
	return r.hash, r.frames >= RollFrames && r.equal < RollFrames/2
}

// RollWord returns one word for frame i of all channels.
func RollWord(channels [][]float64, i int) uint64 {
	word := uint64(0)
	for _, x := range channels {
		word = mixed(word + math.Float64bits(x[i]+0)) // + 0: there are two zeros
	}
	return word
}

// mixed spreads what differs between two words over all bits. Quiet words differ in a few of the upper ones only, and
// products would leave the lower ones alone.
// ref: the finaliser of SplitMix64: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", 2014.
func mixed(x uint64) uint64 {
	x = (x ^ x>>30) * 0xBF58476D1CE4E5B9
	x = (x ^ x>>27) * 0x94D049BB133111EB
	return x ^ x>>31
}
