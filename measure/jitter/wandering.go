package jitter

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/stat"
)

const (
	// joinGap is how far apart, in bins of the record, the pieces of one wandering line may be; farther where they
	// are spread already: half their spread. Where so many do not make a line, fewer are tried, down to leastGap.
	joinGap  = 12
	leastGap = 2
	// joinMargin is how far beyond the outermost pieces, in bins, their line may reach.
	joinMargin = 8
	// joinLoss is the part of a joined line's peak that its lobes are good to.
	joinLoss = 1e-3
	// joinSteady is how much the power of the envelope of one line varies at the most, as a variance over its squared mean: pieces too weak to be
	// found make it vary. The envelope itself then varies by 0.2; three equal lines in the phases of a wandering one by 0.26.
	joinSteady = 4 * 0.2 * 0.2
	// joinBeats is how much the power of the envelope may vary, as a share of what lines of unrelated phases would make.
	joinBeats = 0.25
	// A pair, whose beats prove nothing, is joined where the lesser, nearer than leastGap, is hardly a line: an
	// envelope steadier than that of 6 : 1, and so weak that a piece as strong on the other side may have been missed.
	joinSteadyPair = 0.12
	joinWeak       = 4 // times the least power of a line
	// farWeaker is how strong, relative to a line, its pieces may be for their phases to show whether they are modulation of it. Then the
	// part in quadrature exceeds the other by more than inQuadrature of both: 1 where it is modulation, 0 where it is a line on one side.
	farWeaker    = 0.1
	inQuadrature = 0.6
	// joinSkirt is how strong, relative to a wandering line, a piece far out in its skirt may be, and skirtWanders how far out that is, in RMS of
	// its wander.
	joinSkirt, skirtWanders = 0.02, 4
)

// wandering finds lines that are not quite steady in frequency, such as those of the mains: in a long record each falls
// into pieces, which added up as lines would reach higher together than they ever do. Unlike lines of their own the pieces
// together have a steady envelope. It returns the joined lines, their place the centroid, their level from the power,
// and the lines that are no part of one.
func (p *lineFinder) wandering(lines []peak) (joined []component, single []peak) {
	joined, single = p.gather(lines, joinGap)
	joined = append(joined, p.wanderers...)
	skirt := func(l peak) bool {
		return slices.ContainsFunc(joined, func(t component) bool {
			return math.Abs(l.hz-t.hz) < max(t.skirtHz, skirtWanders*t.wanderHz)+skirtBins/p.seconds && power(l.value) < joinSkirt*joinSkirt*t.beta*t.beta
		})
	}
	return joined, slices.DeleteFunc(single, skirt)
}

// gather joins the lines, sorted by frequency, that are nearer to each other than gap bins; those that are not one line
// together are tried with smaller gaps.
func (p *lineFinder) gather(lines []peak, gap float64) (joined []component, single []peak) {
	for _, pieces := range p.clusters(lines, gap) {
		switch {
		case len(pieces) == 1:
			single = append(single, pieces...)
		case p.steady(pieces):
			joined = append(joined, p.join(pieces))
		case gap > leastGap:
			inner, remaining := p.gather(pieces, gap/2)
			joined, single = append(joined, inner...), append(single, remaining...)
		default:
			single = append(single, pieces...)
		}
	}
	return joined, single
}

// clusters parts lines where the gap is wider than pieces of one line leave.
func (p *lineFinder) clusters(lines []peak, gap float64) [][]peak {
	var out [][]peak
	for from := 0; from < len(lines); {
		to := from + 1
		for to < len(lines) && lines[to].hz-lines[to-1].hz < max(gap/p.seconds, (lines[to-1].hz-lines[from].hz)/2) {
			to++
		}
		out = append(out, lines[from:to])
		from = to
	}
	return out
}

// steady reports whether the pieces together are one line whose frequency moves, and not several lines that beat.
func (p *lineFinder) steady(pieces []peak) bool {
	span := (pieces[len(pieces)-1].hz - pieces[0].hz) * p.seconds
	envelope := p.envelope(pieces, 16+8*int(span))
	if p.modulated(pieces) {
		return true
	}
	if len(pieces) == 2 {
		mean, deviation := stat.PopMeanStdDev(envelope, nil)
		return span < leastGap && deviation < joinSteadyPair*mean && p.weak(pieces)
	}
	for i, v := range envelope {
		envelope[i] = v * v
	}
	// Pieces a bin apart bear on each other, and may each be wrong where their sum is not: the bins themselves show that.
	if hardlyBeats(envelope, 1, pieces) {
		return true
	}
	from, to := p.joinLobe(pieces)
	restored := make([]complex128, to-from+1)
	all, quiet := 0.0, 0.0
	for i := range restored {
		restored[i] = p.restored(from+i, pieces)
		all, quiet = all+power(restored[i]), quiet+p.noise[from+i]
	}
	return hardlyBeats(p.envelopeOf(restored), max(0, 1-quiet/all), pieces)
}

// modulated reports whether the other pieces of a far stronger one are phase modulation of it, as where its frequency moves, and not lines of
// their own: of what is around it the part in quadrature, e being the strongest and z the rest, Im(z/e), has the power 2·Σ|vᵢ|²
// of sidebands in pairs, and Re(z/e) none; a line on one side alone has as much of either. So the other sideband of a pair counts too,
// where it is too weak to be found.
func (p *lineFinder) modulated(pieces []peak) bool {
	main := slices.MaxFunc(pieces, func(a, b peak) int { return cmp.Compare(power(a.value), power(b.value)) })
	var others []peak
	bins := 0.0
	for _, l := range pieces {
		if l.hz == main.hz {
			continue
		}
		if power(l.value) > farWeaker*farWeaker*power(main.value) {
			return false
		}
		others, bins = append(others, l), max(bins, math.Abs(l.hz-main.hz)*p.seconds+2)
	}
	from, to := p.lobe(main.hz, bins)
	along, across, points := 0.0, 0.0, 16+8*int(bins)
	for i := range points {
		t := p.instant(i, points)
		var z complex128
		for k := from; k <= to; k++ {
			z += p.restored(k, others) * cmplx.Rect(1/p.pad, 2*math.Pi*(float64(k)*p.binHz-main.hz)*t)
		}
		z /= main.value
		along, across = along+real(z)*real(z)/float64(points), across+imag(z)*imag(z)/float64(points)
	}
	noise := 2 * bins * p.noise[from+(to-from)/2] / power(main.value)
	return across-along > inQuadrature*(across+along-noise)
}

// joinLobe returns the bins that the line of some pieces occupies.
func (p *lineFinder) joinLobe(pieces []peak) (from, to int) {
	from, _ = p.lobe(pieces[0].hz, joinMargin)
	_, to = p.lobe(pieces[len(pieces)-1].hz, joinMargin)
	return from, to
}

// hardlyBeats reports whether an envelope, of which this is the power, varies less than that of several lines; these hold a share of it, and
// noise, which makes it vary by 1 − share² of its square, the rest.
func hardlyBeats(envelope []float64, share float64, pieces []peak) bool {
	all, own := 0.0, 0.0
	for _, l := range pieces {
		all, own = all+power(l.value), own+power(l.value)*power(l.value)
	}
	// Of lines of unrelated phases the power has a variance of Σ Σ |vᵢ|²|vⱼ|² over all i ≠ j.
	return share*share-steadiness(envelope) < min(joinSteady, joinBeats*(1-own/(all*all)))
}

// weak reports whether the weakest of the pieces hardly exceeds the noise.
func (p *lineFinder) weak(pieces []peak) bool {
	return slices.ContainsFunc(pieces, func(l peak) bool { return power(l.value) < joinWeak*p.threshold*2*l.se*l.se })
}

// envelope returns the magnitude of the sum of the pieces at so many instants of the record.
func (p *lineFinder) envelope(pieces []peak, points int) []float64 {
	out := make([]float64, points)
	for i := range out {
		t := p.instant(i, points)
		var z complex128
		for _, l := range pieces {
			z += l.value * cmplx.Rect(1, 2*math.Pi*(l.hz-pieces[0].hz)*t)
		}
		out[i] = cmplx.Abs(z)
	}
	return out
}

// join returns the line whose pieces these are.
func (p *lineFinder) join(pieces []peak) component {
	last := pieces[len(pieces)-1].hz
	from, to := p.joinLobe(pieces)
	var all, moment, noise float64
	for k := from; k <= to; k++ {
		x := power(p.restored(k, pieces)) - p.noise[k]
		all, moment = all+x, moment+x*float64(k)*p.binHz
		noise = max(noise, p.noise[k])
	}
	t := component{hz: moment / all, beta: math.Sqrt(max(0, all) / p.share(from, to, pieces)), skirtHz: last - pieces[0].hz}
	weight := 0.0
	for _, l := range pieces { // the lobes themselves would spread a line that does not wander
		t.wanderHz += power(l.value) * (l.hz - t.hz) * (l.hz - t.hz)
		weight += power(l.value)
	}
	t.wanderHz = math.Sqrt(t.wanderHz / weight)
	t.betaSE = math.Hypot(p.spreadError(t.beta, noise, float64(to-from)/p.pad), joinLoss*t.beta)
	p.removedSpans = append(p.removedSpans, p.withSkirt(span{from, to + 1}))
	return t
}

// withSkirt returns the bins of a joined line with those to either side in which what is too weak to be found as a piece still exceeds the noise. It is some
// hundred thousandths of a strong line, and would pass for random jitter.
func (p *lineFinder) withSkirt(s span) span {
	step := int(joinMargin * p.pad)
	exceeds := func(from, to int) bool {
		if from < p.lowest || to > len(p.bins) {
			return false
		}
		all, noise := 0.0, 0.0
		for k := from; k < to; k++ {
			all, noise = all+power(p.bins[k]), noise+p.noise[k]
		}
		return all > humpEdge*noise
	}
	for range skirtBins / joinMargin {
		if exceeds(s.from-step, s.from) {
			s.from -= step
		}
		if exceeds(s.to, s.to+step) {
			s.to += step
		}
	}
	return s
}
