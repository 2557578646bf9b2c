package match

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"heardiff/playback/pcm"
)

// slip is a place where B leaves its line: from frame at of A on it stands by frames off.
type slip struct{ at, by float64 }

// told says where B jumps and by how much, and what was compared.
func told(slips []slip, rate pcm.Rate, l line) string {
	var places []string
	for i, s := range slips {
		unit := ""
		if i == 0 {
			unit = " samples"
		}
		places = append(places, fmt.Sprintf("by %+.0f%s about %.1f s into A", s.by, unit, s.at/rate.Hz()))
	}
	return fmt.Sprintf("B jumps %s: samples were lost, repeated or cut (a loop point); only %.1f to %.1f s of A were compared",
		strings.Join(places, ", "), rate.Seconds(l.from), rate.Seconds(l.to))
}

// stretches returns the line of every stretch of A between two jumps of B, in order; the line alone where there are none. They
// are told from anchors that agree with each other but not with the line. Anchors of the other candidates help where B
// jumps farther than an anchor is sought.
func (s *search) stretches(p placed) ([]line, error) {
	anchors := p.beyond(s.places)
	if !p.leaves(anchors) { // the blocks see less better, see steps
		return []line{p.line}, nil
	}
	dense, err := s.census(p)
	if err != nil {
		return nil, err
	}
	anchors = append(anchors, dense...)
	sort.Slice(anchors, func(i, j int) bool { return anchors[i].at < anchors[j].at })
	lines := p.lines(anchors)
	fits := make([][]float64, len(anchors))
	size := int(0.1 * s.rate.Hz())
	for i, k := range anchors {
		fits[i] = make([]float64, len(lines))
		for j, l := range lines {
			if fits[i][j], err = likeness(s.a, s.b, k.at, l.shift(k.at), size, l); err != nil {
				return nil, err
			}
		}
	}
	return s.divide(anchors, lines, segment(fits), size)
}

// divide confines lines to where which says that they hold.
func (s *search) divide(anchors []anchor, lines []line, which []int, size int) ([]line, error) {
	from, to := lines[0].overlap(s.a, s.b, 0)
	out := []line{lines[which[0]]}
	out[0].from = max(0, min(from, int(anchors[0].at)))
	for i := 1; i < len(which); i++ {
		if which[i] == which[i-1] {
			continue
		}
		last, next := &out[len(out)-1], lines[which[i]]
		end, start, err := border(s.a, s.b, *last, next, anchors[max(0, i-2)].at, anchors[min(len(anchors)-1, i+1)].at, size)
		if err != nil {
			return nil, err
		}
		last.to, next.from = int(end)-2*size, int(start)+2*size
		out = append(out, next)
	}
	if len(out) == 1 {
		return lines[which[0] : which[0]+1], nil
	}
	out[len(out)-1].to = max(to, int(anchors[len(anchors)-1].at))
	return slices.DeleteFunc(out, func(l line) bool { return l.to-l.from < int(s.least)/2 }), nil
}

// maxCensus is how many anchors tell of several jumps.
const maxCensus = 96

// census looks for A at many places around the line.
func (s *search) census(p placed) ([]anchor, error) {
	from, to := p.overlap(s.a, s.b, 0)
	places, _ := s.courseA.sounding(from, to, p.hunt.n)
	found, err := p.hunt.all(spread(places, maxCensus))
	return slices.DeleteFunc(found, func(k anchor) bool { return k.match < leastMatch }), err
}

// beyond returns the anchors whose waveforms agree, and those of other candidates before the first and after the last
// that the line explains, in order.
func (p placed) beyond(all []placed) []anchor {
	anchors := p.strong()
	if len(anchors) == 0 {
		return nil
	}
	first, last := math.Inf(1), math.Inf(-1)
	for _, k := range anchors {
		if p.explains(k) {
			first, last = min(first, k.at), max(last, k.at)
		}
	}
	for _, other := range all {
		for _, k := range other.strong() {
			// What comes later in A comes later in B, or it is no jump but a repetition.
			ahead := k.at < first && k.at+k.shift < first+p.shift(first)
			after := k.at > last && k.at+k.shift > last+p.shift(last)
			if (ahead || after) && other.explains(k) {
				anchors = append(anchors, k)
			}
		}
	}
	sort.Slice(anchors, func(i, j int) bool { return anchors[i].at < anchors[j].at })
	return anchors
}

func (l line) explains(k anchor) bool { return near(l, k, anchored) }

// leaves reports whether most of the anchors that are off the line are so by so much that the blocks would not see it.
func (p placed) leaves(anchors []anchor) bool {
	by := p.lines(anchors)
	return slices.ContainsFunc(by, func(l line) bool { return math.Abs(l.offset-p.offset) >= slack/2 })
}

// maxStates is how many lines, side by side, are told apart.
const maxStates = 12

// lines returns the line and those beside it on which two anchors or more lie, those with most anchors first.
func (p placed) lines(anchors []anchor) []line {
	out, rest := []line{p.line}, anchors
	for len(out) < maxStates {
		rest = slices.DeleteFunc(slices.Clone(rest), func(k anchor) bool { return near(out[len(out)-1], k, 2*anchored) })
		most, next := 1, line{}
		for _, k := range rest {
			l := p.line
			l.offset += k.shift - l.shift(k.at)
			count := 0
			for _, m := range rest {
				if near(l, m, anchored) {
					count++
				}
			}
			if count > most {
				most, next = count, l
			}
		}
		if most == 1 {
			break
		}
		out = append(out, next)
	}
	return out
}

func near(l line, k anchor, within float64) bool { return math.Abs(k.shift-l.shift(k.at)) <= within }

// strong returns the anchors whose waveforms agree.
func (p placed) strong() []anchor {
	var out []anchor
	for _, k := range p.anchors {
		if k.match >= leastMatch {
			out = append(out, k)
		}
	}
	return out
}

// segment says of every anchor on which of the lines it lies, given how well each line fits it, with the fewest changes that
// the evidence allows: on a steady tone a place some periods away fits nearly as well, and no single anchor decides.
func segment(fits [][]float64) []int {
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

// border returns the frames of A, between two frames, where B leaves one line and where it is on the next: where the evidence
// before speaks most for the one and that after for the other. What speaks for neither lies between them.
func border(a, b pcm.Reader, before, after line, lo, hi float64, size int) (end, start float64, err error) {
	const parts = 32
	for range 5 {
		step := (hi - lo) / parts
		sum, best := 0.0, math.Inf(-1)
		end, start = lo, lo
		for i := range parts {
			at := lo + (float64(i)+0.5)*step
			one, err := likeness(a, b, at, before.shift(at), size, before)
			if err != nil {
				return 0, 0, err
			}
			two, err := likeness(a, b, at, after.shift(at), size, after)
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

// likeness returns the largest correlation, 0 at the least, of size frames of A around at with B displaced by shift,
// or up to two frames more or less.
func likeness(a, b pcm.Reader, at, shift float64, size int, l line) (float64, error) {
	from := int(at) - size/2
	x, err := mono(a, from, size, false)
	if err != nil {
		return 0, fmt.Errorf("match: %w", err)
	}
	y, err := mono(b, from+int(math.Round(shift))-2, size+4, l.swapped)
	if err != nil {
		return 0, fmt.Errorf("match: %w", err)
	}
	emphasize(x)
	emphasize(y)
	most := 0.0
	for d := range 5 {
		most = max(most, l.sign*cosine(x, y[d:d+size]))
	}
	return most, nil
}

// trim takes off what lies around the ends of a confined line and does not fit, down to the last misfit of the outer
// quarters; ok is false where all fits.
func (f *fine) trim(l line, block int) (trimmed line, ok bool) {
	n := len(f.all)
	miss := make([]float64, n)
	for i, p := range f.all {
		miss[i] = 1 - p.fit
	}
	limit := 20*median(miss) + 0.01
	for i := range n / 4 {
		if miss[i] > limit {
			l.from, ok = int(f.all[i].t)+block, true
		}
		if miss[n-1-i] > limit && int(f.all[n-1-i].t)-block < l.to {
			l.to, ok = int(f.all[n-1-i].t)-block, true
		}
	}
	return l, ok && l.to-l.from > 8*block
}
