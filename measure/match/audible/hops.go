package audible

import (
	"slices"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// Hops transforms the mix of a capture's channels, a hundredth of a second at a time. Not safe for concurrent use.
type Hops struct {
	Frames      int // of a hop
	BinHz       float64
	plan        *spectrum.Plan
	window, mix []float64
	power       []float64
	bins        []complex128
}

// NewHops returns the transform of hops of a hundredth of a second at a rate.
func NewHops(rate pcm.Rate) *Hops {
	frames := max(1, int(rate)/100)
	size := spectrum.PowerOfTwo(frames)
	return &Hops{
		Frames: frames, BinHz: rate.Hz() / float64(size), plan: spectrum.NewPlan(size), window: spectrum.Hann().Samples(frames),
		mix: make([]float64, frames), bins: make([]complex128, size/2+1), power: make([]float64, size/2+1),
	}
}

// Of returns the powers of the bins of the hop that begins at frame from of the block, until the next call; cut reports whether digital
// silence begins or ends within it: the click of such a cut is no music.
func (h *Hops) Of(block [][]float64, from int) (power []float64, cut bool) {
	Mix(h.mix, block, from)
	silent := func(x []float64) bool { return !slices.ContainsFunc(x, func(v float64) bool { return v != 0 }) }
	cut = silent(h.mix[:3]) != silent(h.mix[len(h.mix)-3:])
	floats.Mul(h.mix, h.window)
	for k, z := range h.plan.Forward(h.bins, h.mix) {
		h.power[k] = real(z)*real(z) + imag(z)*imag(z)
	}
	return h.power, cut
}

// Mix writes the sum of the channels of src, from frame from on, to dst; their weights differ, so that no two cancel.
func Mix(dst []float64, src [][]float64, from int) {
	clear(dst)
	for c, ch := range src {
		floats.AddScaled(dst, 1/float64(c+1), ch[from:from+len(dst)])
	}
}
