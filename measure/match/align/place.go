package align

import (
	"math"
	"slices"
	"sort"

	"heardiff/measure/match/fit"
)

const (
	// exchangedProduct is the product of the correlations of sum and difference below which channels are exchanged. A judgement, no source;
	// TestOneChannelUnlikeTheOther holds it.
	exchangedProduct = -0.1
	// clearlyBetter is how many times larger a correlation must be for it to be no chance. A judgement, no source;
	// TestChannelsAreCrossedWhereThatFitsBetter holds it.
	clearlyBetter = 1.02
)

// fitLine lays the line through anchors by least squares and reads the wiring off them.
func (p *Place) fitLine(in []anchor) {
	fit := fit.New()
	var mid, side float64
	for _, k := range in {
		fit.Add(k.at, k.shift, 1)
		mid += k.mid
		side += k.side
	}
	p.Offset, p.Drift = fit.Solve()
	n := float64(len(in))
	mid, side = mid/n, side/n
	lead := mid
	if math.Abs(side) > 2*math.Abs(mid) {
		lead = side
	}
	if lead < 0 {
		p.Sign = -1
	}
	if p.crossedWiring(in) {
		return
	}
	// Exchanging two channels leaves their sum and turns their difference over.
	if mid*side < exchangedProduct {
		p.Swapped = true
		p.Sign = math.Copysign(1, mid)
		return
	}
	p.invertedWiring(in)
}

// crossedWiring notes that channels 1 and 2 are exchanged and one of them is inverted, where that fits better than any other
// wiring.
func (p *Place) crossedWiring(in []anchor) bool {
	if len(in[0].each) < 2 {
		return false
	}
	var cross [2]float64
	straight := 0.0
	for _, k := range in {
		cross[0] += k.cross[0] / float64(len(in))
		cross[1] += k.cross[1] / float64(len(in))
		straight += (math.Abs(k.each[0]) + math.Abs(k.each[1])) / float64(len(in))
	}
	if cross[0]*cross[1] >= 0 || math.Abs(cross[0])+math.Abs(cross[1]) < clearlyBetter*straight {
		return false
	}
	p.Swapped, p.flipped, p.Sign = true, 1<<1, math.Copysign(1, cross[0])
	return true
}

// invertedWiring notes channels whose polarity is not that of the others; the first decides which is the common one.
func (p *Place) invertedWiring(in []anchor) {
	mean := make([]float64, len(in[0].each))
	for _, k := range in {
		for c, v := range k.each {
			mean[c] += v / float64(len(in))
		}
	}
	opposed := uint64(0)
	for c, v := range mean {
		if v*mean[0] < 0 && math.Abs(v) > leastMatch && math.Abs(mean[0]) > leastMatch {
			opposed |= 1 << c
		}
	}
	if opposed != 0 {
		p.flipped, p.Sign = opposed, math.Copysign(1, mean[0])
	}
}

// Place is a candidate whose waveforms were compared.
type Place struct {
	Line
	explained float64 // frames of A that sound and that the line explains
	anchors   []anchor
	matched   int
	search    anchorSearch
	agreed    float64 // share of the anchors that matched, each weighted by A's level there: some may be noise
}

// driftReach is how far the drift of the clocks may be from the one that an assumption takes.
const driftReach = 5e-4

// Two unrelated stretches, searched over a few thousand displacements, seldom reach a third.
const leastMatch = 0.35

// anchorTolerance is by how many frames an anchor may miss the line that explains it.
const anchorTolerance = 1.5

// fitAnchors finds the line that most anchors lie on, of about this drift.
func fitAnchors(found []anchor, drift, sounds float64) Place {
	p := Place{anchors: found, Line: Line{Sign: 1}}
	var best []anchor
	weight := 0.0
	try := func(l Line) {
		var in []anchor
		sum := 0.0
		for _, k := range found {
			if k.match >= leastMatch && l.explains(k) {
				in = append(in, k)
				sum += k.match
			}
		}
		if sum > weight {
			best, weight = in, sum
		}
	}
	for i, k := range found {
		try(Line{Offset: k.shift - drift*k.at, Drift: drift})
		for _, m := range found[i+1:] {
			if d := (m.shift - k.shift) / (m.at - k.at); math.Abs(d-drift) < driftReach {
				try(Line{Offset: k.shift - d*k.at, Drift: d})
			}
		}
	}
	if len(best) == 0 {
		return p
	}
	p.matched = len(best)
	levels := 0.0
	for _, k := range found {
		levels += k.level
	}
	for _, k := range best {
		p.explained += sounds * k.match * k.match / float64(len(found))
		p.agreed += k.level / levels
	}
	p.fitLine(best)
	return p
}

// outerAnchors returns the anchors whose waveforms agree, and those of other candidates before the first and after the last
// that the line explains, in order.
func (p Place) outerAnchors(all []Place) []anchor {
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
			ahead := k.at < first && k.at+k.shift < first+p.Shift(first)
			after := k.at > last && k.at+k.shift > last+p.Shift(last)
			if (ahead || after) && other.explains(k) {
				anchors = append(anchors, k)
			}
		}
	}
	sort.Slice(anchors, func(i, j int) bool { return anchors[i].at < anchors[j].at })
	return anchors
}

func (l Line) explains(k anchor) bool { return nearLine(l, k, anchorTolerance) }

// maxStates is how many parallel lines are distinguished.
const maxStates = 12

// parallelLines returns the line and those parallel to it on which two anchors or more lie, those with most anchors first.
func (p Place) parallelLines(anchors []anchor) []Line {
	out, rest := []Line{p.Line}, anchors
	for len(out) < maxStates {
		rest = slices.DeleteFunc(slices.Clone(rest), func(k anchor) bool { return nearLine(out[len(out)-1], k, 2*anchorTolerance) })
		most, next := 1, Line{}
		for _, k := range rest {
			l := p.Line
			l.Offset += k.shift - l.Shift(k.at)
			count := 0
			for _, m := range rest {
				if nearLine(l, m, anchorTolerance) {
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

func nearLine(l Line, k anchor, within float64) bool {
	return math.Abs(k.shift-l.Shift(k.at)) <= within
}

// strong returns the anchors whose waveforms agree.
func (p Place) strong() []anchor {
	var out []anchor
	for _, k := range p.anchors {
		if k.match >= leastMatch {
			out = append(out, k)
		}
	}
	return out
}
