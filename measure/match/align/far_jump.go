package align

import (
	"math"
	"slices"
	"sort"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// farJumps returns the line on which A begins in B, confined to the frames where it and the lines after the jumps hold, and the jumps.
// Where there are none it returns the line alone, not confined. They are found from anchors that agree with each other but not with the
// line. Anchors of the other places help where B jumps farther than an anchor is sought.
func (s *Search) farJumps(p Place) (Line, []Jump, error) {
	anchors := p.outerAnchors(s.Places)
	far := func(l Line) bool { return math.Abs(l.Offset-p.Offset) >= slack/2 }
	if !slices.ContainsFunc(p.parallelLines(anchors), far) { // the track sees smaller jumps better
		return p.Line, nil, nil
	}
	dense, err := s.denseAnchors(p)
	if err != nil {
		return p.Line, nil, err
	}
	anchors = append(anchors, dense...)
	sort.Slice(anchors, func(i, j int) bool { return anchors[i].at < anchors[j].at })
	lines := p.parallelLines(anchors)
	fits := make([][]float64, len(anchors))
	size := int(farWindowS * s.rate.Hz())
	for i, k := range anchors {
		fits[i] = make([]float64, len(lines))
		for j, l := range lines {
			if fits[i][j], err = correlationAt(s.a, s.b, k.at, l.Shift(k.at), size, l); err != nil {
				return p.Line, nil, err
			}
		}
	}
	return s.jumpsAlong(anchors, lines, bestPath(fits), size)
}

// farWindowS is how long the windows are by which a far jump is located, in seconds: it is known to about one of them.
const farWindowS = 0.1

// jumpsAlong returns the first of the lines, and the jumps from one to the next of those that path says the anchors lie on.
func (s *Search) jumpsAlong(anchors []anchor, lines []Line, path []int, size int) (Line, []Jump, error) {
	var jumps []Jump
	for i := 1; i < len(path); i++ {
		if path[i] == path[i-1] {
			continue
		}
		last, next := lines[path[i-1]], lines[path[i]]
		end, start, err := boundary(s.a, s.b, last, next, anchors[max(0, i-2)].at, anchors[min(len(anchors)-1, i+1)].at, size)
		if err != nil {
			return last, nil, err
		}
		// Where much lies between, it is missing in B: the jump is where it begins.
		at := min((end+start)/2, end+float64(size)/2)
		jumps = append(jumps, Jump{At: at, By: next.Offset - last.Offset, before: int(end) - 2*size, after: int(start) + 2*size})
	}
	first := lines[path[0]]
	if len(jumps) == 0 {
		return first, nil, nil
	}
	from, to := lines[0].Overlap(s.a, s.b, 0)
	first.From, first.To = max(0, min(from, int(anchors[0].at))), max(to, int(anchors[len(anchors)-1].at))
	return first, jumps, nil
}

// maxDenseAnchors is how many anchors several jumps are found by.
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
	const change = 0.5 // in correlation, summed over the anchors of a stretch. A judgement, no source; TestAPathChangesItsLineOnEvidenceAlone holds it
	lines := len(fits[0])
	best := make([]float64, lines)
	came := make([][]int, len(fits))
	for i, fit := range fits {
		top := floats.MaxIdx(best)
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
	state := floats.MaxIdx(best)
	for i := len(fits) - 1; i >= 0; i-- {
		which[i] = state
		state = came[i][state]
	}
	return which
}

// boundary returns the frames of A, between two frames, where B leaves one line and where it is on the next: where the evidence before
// speaks most for the one and the evidence after for the other. What speaks for neither lies between them.
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
	x, err := readMix(a, from, size, asRecorded)
	if err != nil {
		return 0, err
	}
	y, err := readMix(b, from+int(math.Round(shift))-2, size+4, l)
	if err != nil {
		return 0, err
	}
	emphasize(x)
	emphasize(y)
	most := 0.0
	for d := range 5 {
		most = max(most, spectrum.Correlation(x, y[d:d+size]))
	}
	return most, nil
}
