package align

import (
	"errors"
	"math"

	"heardiff/playback/pcm"
)

// ErrUnrelated is wrapped by Compare's error where no common music was found.
var ErrUnrelated = errors.New("no common music found")

// Line is the place in B of frames of A, and how B is wired.
type Line struct {
	Offset, Drift float64
	Sign          float64
	Swapped       bool
	flipped       uint64 // bit c: channel c of B is inverted against the others
	From, To      int    // frames of A for which it holds; to = 0: all
}

// Opposed reports whether channel c of B is inverted against the others.
func (l Line) Opposed(c int) bool { return l.flipped>>c&1 == 1 }

// signOf returns the sign of channel c of B.
func (l Line) signOf(c int) float64 {
	if l.Opposed(c) {
		return -l.Sign
	}
	return l.Sign
}

// Shift returns by how many frames frame t of A is displaced in B.
func (l Line) Shift(t float64) float64 { return l.Offset + l.Drift*t }

// Later returns the line that puts each frame of A where l puts the frame of A so many frames later.
func (l Line) Later(frames int) Line {
	l.Offset += float64(frames) * (1 + l.Drift)
	return l
}

// Overlap returns the frames of A that have a partner in B, with a margin for the interpolator.
func (l Line) Overlap(a, b pcm.Reader, margin int) (from, to int) {
	m := float64(margin)
	lo := (m - l.Offset) / (1 + l.Drift)
	hi := (float64(b.Frames()) - m - l.Offset) / (1 + l.Drift)
	from, to = int(max(0, lo+1)), int(min(float64(a.Frames()), hi))
	if l.To > 0 {
		from, to = max(from, l.From), min(to, l.To)
	}
	return from, to
}

// ReadPair reads n frames of A from at on, and the frames of B, from bFrom on, at all of their displacements, with a margin to either side.
// It puts B's channels in A's order.
func (l Line) ReadPair(a, b pcm.Reader, at, n, margin int) (inA, inB [][]float64, bFrom int, err error) {
	channels := a.Format().Channels
	inA, inB = pcm.Planes(channels, n), pcm.Planes(channels, n+2*margin+int(math.Abs(l.Drift)*float64(n))+2)
	bFrom = at + int(math.Floor(min(l.Shift(float64(at)), l.Shift(float64(at+n))))) - margin
	if err = pcm.ReadAround(a, inA, at); err == nil {
		err = pcm.ReadAround(b, inB, bFrom)
	}
	if l.Swapped {
		inB[0], inB[1] = inB[1], inB[0]
	}
	return inA, inB, bFrom, err
}

// Jump is a place where B leaves its line: from frame At of A on it is By frames off.
type Jump struct {
	At, By float64
	// The line before holds up to frame before of A, the one after from frame after on: between them it is not known which does.
	before, after int
}
