package match

import (
	"fmt"
	"math"
	"sort"

	"heardiff/playback/pcm"
)

// slip is a place where B leaves the line: from frame at of A on it stands by frames off.
type slip struct {
	at, by float64
	far    []anchor // beyond it
}

func (s slip) text(rate pcm.Rate, l line) string {
	return fmt.Sprintf("B jumps by %+.0f samples about %.1f s into A: samples were lost, repeated or cut (a loop point); only %.1f to %.1f s of A were compared",
		s.by, s.at/rate.Hz(), rate.Seconds(l.from), rate.Seconds(l.to))
}

// weighed is an anchor seen from two lines: how well B fits on the line, and by frames off it.
type weighed struct{ at, by, on, off float64 }

// jumps looks for anchors that agree with each other but not with the line, and confines the line to the longest
// stretch on it. Anchors of the other candidates help where B jumps farther than an anchor is sought.
func (f *aligned) jumps(a, b pcm.Reader, best placed, all []placed) (*slip, error) {
	anchors := best.beyond(all)
	by := strayed(best, anchors)
	if math.Abs(by) < slack/2 { // the blocks see it better, see step
		return nil, nil
	}
	size := int(0.1 * a.Format().Rate.Hz())
	seen := make([]weighed, len(anchors))
	for i, k := range anchors {
		var err error
		if seen[i], err = weigh(a, b, best.line, k.at, by, size); err != nil {
			return nil, err
		}
		seen[i].by = k.shift - best.shift(k.at)
	}
	off := segment(seen)
	from, to := best.overlap(a, b, 0)
	var found *slip
	start, longest := from, -1
	take := func(end int, is bool) {
		if !is && end-start > longest {
			longest = end - start
			f.line.from, f.line.to = start, end
		}
	}
	for i := 1; i < len(seen); i++ {
		if off[i] == off[i-1] {
			continue
		}
		at, err := between(a, b, best.line, seen[max(0, i-2)].at, seen[min(len(seen)-1, i+1)].at, off[i], by, size)
		if err != nil {
			return nil, err
		}
		if found == nil {
			found = &slip{at: at, by: by}
			if !off[i] {
				found.by = -by
			}
		}
		take(int(at)-2*size, off[i-1])
		start = int(at) + 2*size
	}
	if found != nil {
		take(to, off[len(off)-1])
	}
	if found != nil {
		for i, k := range anchors {
			if off[i] {
				found.far = append(found.far, k)
			}
		}
	}
	return found, nil
}

// measured sets by how many frames B jumps, told from the later side less the earlier, once the line is known well.
func (s *slip) measured(l line) {
	var by []float64
	for _, k := range s.far {
		by = append(by, k.shift-l.shift(k.at))
	}
	if len(by) == 0 {
		return
	}
	s.by = median(by)
	if s.far[0].at < float64(l.from) {
		s.by = -s.by
	}
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
			if (k.at < first || k.at > last) && other.explains(k) {
				anchors = append(anchors, k)
			}
		}
	}
	sort.Slice(anchors, func(i, j int) bool { return anchors[i].at < anchors[j].at })
	return anchors
}

func (l line) explains(k anchor) bool { return math.Abs(k.shift-l.shift(k.at)) <= anchored }

// strayed returns by how many frames most of the anchors that are off the line are off, 0 where no two agree.
func strayed(l placed, anchors []anchor) float64 {
	most, by := 1, 0.0
	for _, k := range anchors {
		d, count := k.shift-l.shift(k.at), 0
		for _, m := range anchors {
			if math.Abs(m.shift-l.shift(m.at)-d) <= anchored {
				count++
			}
		}
		if math.Abs(d) > 2*anchored && count > most {
			most, by = count, d
		}
	}
	return by
}

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

func weigh(a, b pcm.Reader, l line, at, by float64, size int) (w weighed, err error) {
	w.at = at
	if w.on, err = likeness(a, b, at, l.shift(at), size, l); err == nil {
		w.off, err = likeness(a, b, at, l.shift(at)+by, size, l)
	}
	return w, err
}

// segment says of every anchor whether it is off the line, with the fewest changes that the evidence allows: on a
// steady tone a place some periods away fits nearly as well, and no single anchor decides.
func segment(seen []weighed) []bool {
	const change = 0.5 // in correlation, summed over the anchors of a stretch. A judgement, no source
	best := [2]float64{}
	came := make([][2]int, len(seen))
	for i, w := range seen {
		var next [2]float64
		for state, fit := range [2]float64{w.on, w.off} {
			stay, switched := best[state], best[1-state]-change
			came[i][state] = state
			if i > 0 && switched > stay {
				stay, came[i][state] = switched, 1-state
			}
			next[state] = stay + fit
		}
		best = next
	}
	off := make([]bool, len(seen))
	state := 0
	if best[1] > best[0] {
		state = 1
	}
	for i := len(seen) - 1; i >= 0; i-- {
		off[i] = state == 1
		state = came[i][state]
	}
	return off
}

// between returns the frame of A, between two frames on either side, where B leaves the line or comes back to it:
// where the evidence before speaks most for the one and that after for the other.
func between(a, b pcm.Reader, l line, lo, hi float64, leaves bool, by float64, size int) (float64, error) {
	const parts = 32
	for hi-lo > float64(size) {
		step := (hi - lo) / parts
		sum, best, at := 0.0, math.Inf(-1), lo
		for i := range parts {
			w, err := weigh(a, b, l, lo+(float64(i)+0.5)*step, by, size)
			if err != nil {
				return 0, err
			}
			d := w.on - w.off
			switch {
			case max(w.on, w.off) < leastMatch: // neither: between the two something is missing
			case leaves:
				sum += d
			default:
				sum -= d
			}
			if sum > best || sum == best && !leaves { // as close to where the line holds as can be
				best, at = sum, lo+float64(i+1)*step
			}
		}
		if step < float64(size)/2 {
			return at, nil
		}
		lo, hi = at-3*step, at+3*step
	}
	return (lo + hi) / 2, nil
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

// step looks in the track for one sudden change of delay: samples lost or repeated, too few for the anchors to see.
// A step must explain what is left far better than a line, or a line with a bend, does.
func (f *fine) step() (slip, bool) {
	n := len(f.track)
	if n < 12 {
		return slip{}, false
	}
	common := make([]float64, n)
	for i, p := range f.track {
		common[i] = p.weight
	}
	most := median(common)
	fit := func(at float64, bend bool) (left, by float64) {
		var xx, xy, yy [3]float64 // of 1, t and the change; xx by pairs below
		var pair [3]float64
		t0, t1 := f.track[0].t, f.track[n-1].t
		for _, p := range f.track {
			w := min(p.weight, most)
			t, c := (p.t-t0)/(t1-t0), 0.0
			if p.t > at {
				c = 1
				if bend {
					c = (p.t - at) / (t1 - t0)
				}
			}
			xx[0], xx[1], xx[2] = xx[0]+w, xx[1]+w*t*t, xx[2]+w*c*c
			pair[0], pair[1], pair[2] = pair[0]+w*t, pair[1]+w*c, pair[2]+w*t*c
			xy[0], xy[1], xy[2] = xy[0]+w*p.delay, xy[1]+w*t*p.delay, xy[2]+w*c*p.delay
			yy[0] += w * p.delay * p.delay
		}
		// Gauss: 1 is taken out of t and the change, then t out of the change.
		tt, tc, ty := xx[1]-pair[0]*pair[0]/xx[0], pair[2]-pair[0]*pair[1]/xx[0], xy[1]-pair[0]*xy[0]/xx[0]
		cc, cy := xx[2]-pair[1]*pair[1]/xx[0], xy[2]-pair[1]*xy[0]/xx[0]
		left = yy[0] - xy[0]*xy[0]/xx[0] - ty*ty/tt
		cc, cy = cc-tc*tc/tt, cy-tc*ty/tt
		if !(cc > 1e-9*xx[0]) {
			return left, 0
		}
		return left - cy*cy/cc, cy / cc
	}
	plain, _ := fit(math.Inf(1), false)
	stepped, bent := math.Inf(1), math.Inf(1)
	var s slip
	for i := 3; i < n-3; i++ {
		at := (f.track[i-1].t + f.track[i].t) / 2
		if left, by := fit(at, false); left < stepped {
			stepped, s = left, slip{at: at, by: by}
		}
		left, _ := fit(at, true)
		bent = min(bent, left)
	}
	return s, math.Abs(s.by) > 0.5 && stepped < 0.2*plain && stepped < 0.5*bent
}

// confine keeps the line to the longer side of a slip, clear of it by a block.
func (l line) confine(s slip, a, b pcm.Reader, block int) line {
	from, to := l.overlap(a, b, 0)
	if s.at-float64(from) > float64(to)-s.at {
		to = int(s.at) - block
	} else {
		from = int(s.at) + block
	}
	l.from, l.to = from, to
	return l
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
