package measure

import (
	"math"
	"math/bits"

	"heardiff/playback/pcm"
)

// WordLength finds the shortest word length that holds every sample written exactly. The zero value is ready.
type WordLength struct {
	grid    uint64 // all bits that any sample uses, in steps of 2^−31; a negative number ends in as many zeros
	offGrid bool
}

// mostSteps is how many steps of 2^−31 a sample may hold: a float sample beyond lies 54 dB above full scale, on no grid.
const mostSteps = 1 << 40

// Write takes samples of any channel, of words of the given format.
func (l *WordLength) Write(x []float64, f pcm.Format) {
	if finest := uint64(1) << (32 - min(32, f.Bits)); l.offGrid || !f.Float && l.grid&finest != 0 { // no word can be longer
		return
	}
	grid, off := l.grid, false // variables of its own, so that the compiler keeps them in registers
	for _, v := range x {
		w := v * (1 << 31)
		k := int64(w)
		grid |= uint64(k)
		if float64(k) != w || uint64(k+mostSteps) > 2*mostSteps {
			off = true
		}
	}
	l.grid, l.offGrid = grid, off
}

// Bits returns the length, 0 for digital silence, NaN where float samples lie on no grid of 32 bits or fewer.
func (l WordLength) Bits() float64 {
	switch {
	case l.offGrid:
		return math.NaN()
	case l.grid == 0:
		return 0
	}
	return float64(max(1, 32-bits.TrailingZeros64(l.grid)))
}
