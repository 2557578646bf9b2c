package residual

import (
	"slices"

	"heardiff/measure/interpolate"
	"heardiff/measure/match/align"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

type blockPair struct {
	at, bFrom int
	transform bool
	fresh     [2]int // from and to: what no other block holds
	a, b      [][]float64
}

type source struct {
	a, b pcm.Reader
	align.Line
	kernel     *interpolate.Kernel
	audible    *interpolate.Kernel // a low-pass at the band edge, beyond which kernel is not exact
	first, end int
	peak       float64 // of A
}

// read loads the block of A that begins at frame at, and the part of B that belongs to it.
func (s source) read(at, n int) (blockPair, error) {
	j := blockPair{at: at}
	var err error
	j.a, j.b, j.bFrom, err = s.ReadPair(s.a, s.b, at, n, s.kernel.Half()+1)
	return j, err
}

// residualOf fills y with A − sign·B/gain over the block; shift is work space for the shifts.
func (s source) residualOf(y [][]float64, j blockPair, shift []float64, gain float64) {
	for k := range shift {
		shift[k] = s.Shift(float64(j.at + k))
	}
	s.kernel.Shift(y, j.b, j.at-j.bFrom, shift)
	for c := range y {
		floats.AddScaledTo(y[c], j.a[c], -s.Sign/gain, y[c])
	}
}

// empty reports whether there is no residual in a block.
func empty(y [][]float64) bool {
	something := func(ch []float64) bool { return slices.ContainsFunc(ch, func(v float64) bool { return v != 0 }) }
	return !slices.ContainsFunc(y, something)
}

// padding returns what audibleOf needs for n frames.
func (s source) padding(channels, n int) [][]float64 {
	return pcm.Planes(channels, n+2*s.audible.Half())
}

// audibleOf fills dst[c][i] with the audible part of frame every·i of y[c], free of direct voltage, which would click at the
// ends; with zeros at the ends themselves, where the filter, cut short, lets through what it should stop. It overwrites padded, see padding.
func (s source) audibleOf(dst, padded, y [][]float64, direct []float64, every int) {
	half := s.audible.Half()
	for c := range y {
		for i, v := range y[c] {
			padded[c][half+i] = v - direct[c]
		}
	}
	shift := make([]float64, len(dst[0]))
	for i := range shift {
		shift[i] = float64(i * (every - 1))
	}
	s.audible.Shift(dst, padded, half, shift)
	for _, x := range dst {
		edge := min(len(x), half/every+1)
		clear(x[:edge])
		clear(x[len(x)-edge:])
	}
}
