package align

import (
	"errors"
	"fmt"
)

// Alignment is where a capture lies in another, to a fraction of a frame.
type Alignment struct {
	Line
	Refinement
	Overlap [2]int  // frames of A that are compared
	Skipped float64 // share of the full overlap that the line leaves out, next to a jump
	Breaks  []Jump  // in B, in the order of time
	leaves  float64 // frame of A at which B leaves the line, where a jump follows
}

// Align returns the alignment at a place, good to a fraction of a frame, over the longest segment between two jumps.
func (s *Search) Align(p Place) (Alignment, error) {
	l, jumps, err := s.farJumps(p)
	if err != nil {
		return Alignment{}, err
	}
	var segments []Alignment
	if len(jumps) == 0 {
		segments, err = s.segments(nil, l, 0, segmentDepth)
	} else {
		segments, err = s.divide(nil, l, jumps, 0, segmentDepth)
	}
	if err != nil {
		return Alignment{}, err
	}
	if len(segments) == 0 {
		return Alignment{}, fmt.Errorf("%w: no stretch of the overlap holds enough in common", ErrUnrelated)
	}
	return longest(segments), nil
}

// segmentDepth is how many times a segment is divided: smaller jumps in one track show once the larger are taken out.
const segmentDepth = 3

// segments refines the line, which B leaves at frame leaves of A, divides it where its track of delays shows jumps, and appends what it
// finds. A segment that has nothing in common, as next to a dropout, is left out.
func (s *Search) segments(to []Alignment, l Line, leaves float64, depth int) ([]Alignment, error) {
	f, err := s.Refined(l)
	if errors.Is(err, ErrUnrelated) {
		return to, nil
	}
	if err != nil {
		return to, err
	}
	f.leaves = leaves
	jumps := f.jumps(int(s.rate) / 4)
	if len(jumps) == 0 || depth == 0 {
		return append(to, f), nil
	}
	l = f.Line
	l.From, l.To = f.Overlap[0], f.Overlap[1]
	return s.divide(to, l, jumps, leaves, depth-1)
}

// divide appends the segments of a confined line between its jumps; too short ones are left out.
func (s *Search) divide(to []Alignment, l Line, jumps []Jump, leaves float64, depth int) ([]Alignment, error) {
	part := l
	var err error
	for i := range len(jumps) + 1 {
		part.From, part.To = l.From, l.To
		end := leaves
		if i > 0 {
			part.From = jumps[i-1].after
			part.Offset += jumps[i-1].By
		}
		if i < len(jumps) {
			part.To, end = jumps[i].before, jumps[i].At
		}
		if part.To-part.From < int(s.leastFrames)/2 {
			continue
		}
		if to, err = s.segments(to, part, end, depth); err != nil {
			return to, err
		}
	}
	return to, nil
}

// longest returns the longest of the segments, with the jumps between all of them. What follows where a segment between is left out
// is missing in B.
func longest(segments []Alignment) Alignment {
	found := segments[0]
	var jumps []Jump
	for i, p := range segments {
		if p.Overlap[1]-p.Overlap[0] > found.Overlap[1]-found.Overlap[0] {
			found = p
		}
		if i > 0 {
			at := segments[i-1].leaves
			jumps = append(jumps, Jump{At: at, By: p.Shift(at) - segments[i-1].Shift(at)})
		}
	}
	found.Breaks = jumps
	return found
}

// Unbroken aligns B by the line of an alignment over the full overlap.
func (s *Search) Unbroken(f Alignment) (Alignment, error) {
	l := f.Line
	l.From, l.To = 0, 0
	return s.Refined(l)
}

// Refined returns the alignment by the line that the waveforms say, from one near it.
func (s *Search) Refined(l Line) (f Alignment, err error) {
	f.Line, f.Refinement, err = Refine(s.a, s.b, l, s.Quick)
	f.Overlap[0], f.Overlap[1] = f.Line.Overlap(s.a, s.b, 0)
	all := f.Line
	all.From, all.To = 0, 0
	from, to := all.Overlap(s.a, s.b, 0)
	f.Skipped = 1 - float64(f.Overlap[1]-f.Overlap[0])/float64(to-from)
	return f, err
}
