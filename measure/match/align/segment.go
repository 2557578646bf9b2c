package align

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"heardiff/playback/pcm"
)

// Alignment is where a capture lies in another, to a fraction of a frame.
type Alignment struct {
	Line
	Refinement
	Overlap [2]int  // frames of A that are compared
	Skipped float64 // share of the whole overlap that the line leaves out, next to a jump
	Breaks  []Jump  // in B, in the order of time
}

// Align goes from a place to a line that is good to a fraction of a frame, clear of jumps: the longest segment between any two.
func (s *Search) Align(p Place) (Alignment, error) {
	lines, err := s.farSegments(p)
	if err != nil {
		return Alignment{}, err
	}
	var segments []Alignment
	for _, l := range lines {
		if segments, err = s.segments(segments, l, segmentDepth); err != nil {
			return Alignment{}, err
		}
	}
	if len(segments) == 0 {
		return Alignment{}, fmt.Errorf("%w: no stretch of the overlap holds enough in common", ErrUnrelated)
	}
	return s.longest(segments)
}

// segmentDepth is how many times a segment is divided again: smaller jumps in one track show once the larger are taken out.
const segmentDepth = 3

// segments refines the line and divides it where its track of delays shows jumps, each part again, and appends what it finds. A part
// that has nothing in common, as next to a dropout, is left out.
func (s *Search) segments(to []Alignment, l Line, depth int) ([]Alignment, error) {
	f, err := s.Refined(l)
	if errors.Is(err, ErrUnrelated) {
		return to, nil
	}
	if err != nil {
		return to, err
	}
	jumps := f.jumps()
	if len(jumps) == 0 || depth == 0 {
		return append(to, f), nil
	}
	start, end := f.Line.Overlap(s.a, s.b, 0)
	margin := int(s.rate) / 4
	part := f.Line
	for i := range len(jumps) + 1 {
		part.From, part.To = start, end
		if i > 0 {
			part.From = int(jumps[i-1].At) + margin
			part.Offset += jumps[i-1].By
		}
		if i < len(jumps) {
			part.To = int(jumps[i].At) - margin
		}
		if to, err = s.segments(to, part, depth-1); err != nil {
			return to, err
		}
	}
	return to, nil
}

// longest returns the longest of the segments, clear of what does not fit at its ends, with the jumps between all of them.
func (s *Search) longest(segments []Alignment) (Alignment, error) {
	found, which := segments[0], 0
	for i, p := range segments {
		if p.Overlap[1]-p.Overlap[0] > found.Overlap[1]-found.Overlap[0] {
			found, which = p, i
		}
	}
	jumps := jumpsBetween(segments, s.rate.Hz()/4)
	if len(jumps) == 0 {
		return found, nil
	}
	if l, ok := found.trimmed(found.Line, int(s.rate)/8); ok {
		var err error
		if found, err = s.Refined(l); err != nil {
			return found, err
		}
		// What was trimmed reaches to the jump.
		if which > 0 {
			jumps[which-1].At = min(jumps[which-1].At, float64(l.From))
		}
		if which < len(jumps) {
			jumps[which].At = max(jumps[which].At, float64(l.To))
		}
	}
	found.Breaks = jumps
	return found, nil
}

// jumpsBetween returns where B jumps from one segment to the next: in the middle of what lies between them, or where the first ends if
// that is more than the margins on either side. What follows then is missing in B.
func jumpsBetween(segments []Alignment, margin float64) []Jump {
	var out []Jump
	for i := 1; i < len(segments); i++ {
		l, m := segments[i-1].Line, segments[i].Line
		at := min(float64(l.To+m.From)/2, float64(l.To)+margin)
		out = append(out, Jump{At: at, By: m.Shift(at) - l.Shift(at)})
	}
	return out
}

// unbroken aligns B by the line of an alignment over the whole overlap.
func (s *Search) Unbroken(f Alignment) (Alignment, error) {
	l := f.Line
	l.From, l.To = 0, 0
	return s.Refined(l)
}

// moved aligns B anew from a line so many frames later.
func (s *Search) Moved(f Alignment, frames int) (Alignment, error) {
	l := f.Line
	l.Offset += float64(frames)
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

// farSegments returns the line of every stretch of A between two jumps of B, in order; the line alone where there are none. They
// are found from anchors that agree with each other but not with the line. Anchors of the other candidates help where B
// jumps farther than an anchor is sought.
func (s *Search) farSegments(p Place) ([]Line, error) {
	anchors := p.outerAnchors(s.Places)
	if !p.jumpsFar(anchors) { // the blocks see less better, see steps
		return []Line{p.Line}, nil
	}
	dense, err := s.denseAnchors(p)
	if err != nil {
		return nil, err
	}
	anchors = append(anchors, dense...)
	sort.Slice(anchors, func(i, j int) bool { return anchors[i].at < anchors[j].at })
	lines := p.parallelLines(anchors)
	fits := make([][]float64, len(anchors))
	size := int(0.1 * s.rate.Hz())
	for i, k := range anchors {
		fits[i] = make([]float64, len(lines))
		for j, l := range lines {
			if fits[i][j], err = correlationAt(s.a, s.b, k.at, l.Shift(k.at), size, l); err != nil {
				return nil, err
			}
		}
	}
	return s.divide(anchors, lines, bestPath(fits), size)
}

// divide confines lines to where which says that they hold.
func (s *Search) divide(anchors []anchor, lines []Line, which []int, size int) ([]Line, error) {
	from, to := lines[0].Overlap(s.a, s.b, 0)
	out := []Line{lines[which[0]]}
	out[0].From = max(0, min(from, int(anchors[0].at)))
	for i := 1; i < len(which); i++ {
		if which[i] == which[i-1] {
			continue
		}
		last, next := &out[len(out)-1], lines[which[i]]
		end, start, err := boundary(s.a, s.b, *last, next, anchors[max(0, i-2)].at, anchors[min(len(anchors)-1, i+1)].at, size)
		if err != nil {
			return nil, err
		}
		last.To, next.From = int(end)-2*size, int(start)+2*size
		out = append(out, next)
	}
	if len(out) == 1 {
		return lines[which[0] : which[0]+1], nil
	}
	out[len(out)-1].To = max(to, int(anchors[len(anchors)-1].at))
	return slices.DeleteFunc(out, func(l Line) bool { return l.To-l.From < int(s.leastFrames)/2 }), nil
}

// maxDenseAnchors is how many anchors tell of several jumps.
const maxDenseAnchors = 96

// denseAnchors looks for A at many places around the line.
func (s *Search) denseAnchors(p Place) ([]anchor, error) {
	from, to := p.Overlap(s.a, s.b, 0)
	places, _ := s.courseA.sounding(from, to, p.search.n)
	found, err := p.search.find(evenly(places, maxDenseAnchors))
	return slices.DeleteFunc(found, func(k anchor) bool { return k.match < leastMatch }), err
}

// bestPath says of every anchor on which of the lines it lies, given how well each line fits it, with the fewest changes that
// the evidence allows: on a steady tone a place some periods away fits nearly as well, and no single anchor decides.
func bestPath(fits [][]float64) []int {
	const change = 0.5 // in correlation, summed over the anchors of a stretch. A judgement, no source
	lines := len(fits[0])
	best := make([]float64, lines)
	came := make([][]int, len(fits))
	for i, fit := range fits {
		top := 0
		for j := range best {
			if best[j] > best[top] {
				top = j
			}
		}
		next := make([]float64, lines)
		came[i] = make([]int, lines)
		for j := range next {
			came[i][j], next[j] = j, best[j]
			if i > 0 && best[top]-change > best[j] {
				came[i][j], next[j] = top, best[top]-change
			}
			next[j] += fit[j]
		}
		best = next
	}
	which := make([]int, len(fits))
	state := 0
	for j := range best {
		if best[j] > best[state] {
			state = j
		}
	}
	for i := len(fits) - 1; i >= 0; i-- {
		which[i] = state
		state = came[i][state]
	}
	return which
}

// boundary returns the frames of A, between two frames, where B leaves one line and where it is on the next: where the evidence
// before speaks most for the one and that after for the other. What speaks for neither lies between them.
func boundary(a, b pcm.Reader, before, after Line, lo, hi float64, size int) (end, start float64, err error) {
	const parts = 32
	for range 5 {
		step := (hi - lo) / parts
		sum, best := 0.0, math.Inf(-1)
		end, start = lo, lo
		for i := range parts {
			at := lo + (float64(i)+0.5)*step
			one, err := correlationAt(a, b, at, before.Shift(at), size, before)
			if err != nil {
				return 0, 0, err
			}
			two, err := correlationAt(a, b, at, after.Shift(at), size, after)
			if err != nil {
				return 0, 0, err
			}
			if max(one, two) >= leastMatch {
				sum += one - two
			}
			switch {
			case sum > best:
				best, end, start = sum, at+step/2, at+step/2
			case sum == best:
				start = at + step/2
			}
		}
		if step < float64(size)/2 || hi-lo <= float64(size) {
			break
		}
		lo, hi = end-3*step, start+3*step
	}
	return end, start, nil
}

// correlationAt returns the largest correlation, 0 at the least, of size frames of A around at with B displaced by shift,
// or up to two frames more or less.
func correlationAt(a, b pcm.Reader, at, shift float64, size int, l Line) (float64, error) {
	from := int(at) - size/2
	x, err := readMix(a, from, size, false)
	if err != nil {
		return 0, err
	}
	y, err := readMix(b, from+int(math.Round(shift))-2, size+4, l.Swapped)
	if err != nil {
		return 0, err
	}
	emphasize(x)
	emphasize(y)
	most := 0.0
	for d := range 5 {
		most = max(most, l.Sign*cosine(x, y[d:d+size]))
	}
	return most, nil
}
