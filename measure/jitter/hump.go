package jitter

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/stat"

	"heardiff/measure/spectrum"
)

// A line whose frequency wanders by many bins of the record is spread out, as a hump in the spectrum. Line by line it would fall into
// hundreds of pieces, and left there it would pass for random jitter. Yet its envelope is steady: E|z|⁴ = (E|z|²)², while
// of Gaussian noise in that band it is 2·(E|z|²)². Where the line holds the part s of the power, and noise the rest, it is 2 − s² times
// (E|z|²)²: 2 less that is called its steadiness.
const (
	// grain is over how many bins of the record the median is taken for the noise, which leaves lines out.
	grain = 16
	// humpOver is how far a hump is above both sides, and humpErrors by how many times the reciprocal root of its bins.
	humpOver, humpErrors = 1.7, 10
	// sideGrains is the least number of grains on either side from which the noise under a hump is known.
	sideGrains = 4
	// humpEdge is how far above its sides a hump's edge is.
	humpEdge = 1.3
	// steadyErrors is the steadiness, in reciprocal roots of the number of independent values, that an envelope of noise never reaches, and
	// mostSteady the most asked for: in 3000 simulated bands each of 16 to 128 bins noise reached 0.75, 0.63, 0.59, 0.50, 0.47 and 0.39,
	// three to four reciprocal roots.
	steadyErrors, mostSteady = 4, 0.75
	// ofALine is the least steadiness, relative to a line of that power, apart from the scatter that noise in the same grains makes: a line
	// with a hump of noise at the same place would be read too large.
	ofALine = 0.9
	// mostInHump is how many steady lines are sought in a hump at the most.
	mostInHump = 16
	// concentrated is the sum of the squared shares of power from which on one place holds too much for a line that wanders, sincSquared
	// the factor by which the sum falls short of 1 for one steady line, whose bins follow sinc²: Σ x² is 2/3.
	concentrated, sincSquared = 0.5, 1.5
	// mostOfProfile limits the humps sought to one part in so many of the profile: the rest is needed to know the noise.
	mostOfProfile = 8
)

// profile is the noise of each grain of a spectrum, and its sums.
type profile struct {
	bins int // in a grain
	sums []float64
}

// mean returns the mean of the grains from … to − 1.
func (f profile) mean(from, to int) float64 { return (f.sums[to] - f.sums[from]) / float64(to-from) }

func (f profile) len() int { return len(f.sums) - 1 }

// profile takes the medians, in the memory of the noise. Every second bin is enough: those between are much the same.
func (p *lineFinder) profile() profile {
	n, half := len(p.bins)/2, max(1, int(grain/4*p.pad))
	spectrum.LocalNoise(p.noise[:n], func(k int) float64 { return power(p.bins[2*k]) }, 2, func(int) int { return half })
	f := profile{bins: 4 * half, sums: []float64{0}}
	for k := half; k+half <= n; k += 2 * half {
		f.sums = append(f.sums, f.sums[f.len()]+max(p.noise[k], rounding*rounding))
	}
	return f
}

// overlaps reports whether another candidate is much the same: what both hold is more than half of what either holds.
func (c candidate) overlaps(o candidate) bool {
	return 2*(min(c.to, o.to)-max(c.from, o.from)) > max(c.to, o.to)-min(c.from, o.from)
}

// candidates returns the stretches above the noise of the profile, the most significant first.
func (f profile) candidates() []candidate {
	var out []candidate
	for size := 1; size <= f.len()/mostOfProfile; size *= 2 {
		gap := (size + 1) / 2
		for i := gap + 1; i+size+gap < f.len(); i += max(1, size/2) {
			below, above := f.mean(max(0, i-gap-size), i-gap), f.mean(i+size+gap, min(f.len(), i+2*size+gap))
			side, inside := max(below, above), f.mean(i, i+size)
			score := (inside/side - 1) * math.Sqrt(float64(size*grain))
			if inside > humpOver*side && score > humpErrors {
				out = append(out, candidate{i, i + size, side, score})
			}
		}
	}
	slices.SortFunc(out, func(a, b candidate) int { return cmp.Compare(b.score, a.score) })
	return out
}

// grown returns the candidate with all grains that are still above its sides, and somewhat more.
func (f profile) grown(c candidate) candidate {
	step := max(1, (c.to-c.from)/4)
	for c.from >= step && f.mean(c.from-step, c.from) > humpEdge*c.side {
		c.from -= step
	}
	for c.to+step <= f.len() && f.mean(c.to, c.to+step) > humpEdge*c.side {
		c.to += step
	}
	c.from, c.to = max(0, c.from-step), min(f.len(), c.to+step)
	return c
}

// hump returns the stretch of a candidate, unless it has no neighbours.
func (f profile) hump(c candidate) (h hump, ok bool) {
	width := max(sideGrains, (c.to-c.from)/4)
	first, last := max(0, c.from-width), min(f.len(), c.to+width)
	if first == c.from || last == c.to {
		return hump{}, false
	}
	sideBins := float64((c.from - first + last - c.to) * f.bins)
	return hump{grains: c, span: span{c.from * f.bins, c.to * f.bins}, below: f.mean(first, c.from), over: f.mean(c.to, last), sideBins: sideBins}, true
}

// humps finds the lines that wander by many bins.
func (p *lineFinder) humps(f profile) []hump {
	var found []hump
	var tried []candidate
	for _, c := range f.candidates() {
		c = f.grown(c)
		if slices.ContainsFunc(tried, c.overlaps) {
			continue
		}
		tried = append(tried, c)
		h, ok := f.hump(c)
		if !ok || h.from > p.high || h.to < p.low || slices.ContainsFunc(found, h.meets) {
			continue
		}
		h.lines = p.steadyLines(f, h)
		if h, ok = p.judged(f, h); ok {
			found = append(found, h)
		} else {
			p.restore(h.lines)
		}
	}
	return found
}

// judged returns what of a hump is a line that wanders, and whether it is one.
func (p *lineFinder) judged(f profile, h hump) (line hump, ok bool) {
	if !p.oneLine(h) {
		return h, false
	}
	h = p.trimmed(h, f.bins)
	return h, f.filled(h) && p.exceeds(h) && !p.isSkirt(h)
}

// isSkirt reports whether the steady lines in a hump hold more than the hump: then it is the part of them that wanders.
func (p *lineFinder) isSkirt(h hump) bool {
	all := 0.0
	for _, l := range h.lines {
		if k := int(l.hz / p.binHz); k >= h.from && k < h.to {
			all += power(l.value)
		}
	}
	own := p.asLine(h).beta
	return all > own*own
}

// asLine returns a hump as one line.
func (p *lineFinder) asLine(h hump) component {
	return p.spreadLine(h, func(k int) float64 { return power(p.bins[k]) }, h.at)
}

// exceeds reports whether a hump holds more than the neighbouring noise by humpErrors times the error of that comparison: of some ten thousand
// grains of noise the medians of a few are twice or half of what they should be.
func (p *lineFinder) exceeds(h hump) bool {
	all, quiet := 0.0, 0.0
	for k := h.from; k < h.to; k++ {
		all, quiet = all+power(p.bins[k]), quiet+h.at(k)
	}
	// The mean of n exponential values scatters by 1/√n, their median by 1/(√n·ln 2).
	scatter := math.Sqrt(p.pad * (1/float64(h.to-h.from) + 1/(math.Ln2*math.Ln2*h.sideBins)))
	return all/quiet-1 > humpErrors*scatter
}

// steadyLines subtracts the steady lines of a hump, each by itself, and returns them: a steady line makes the envelope of
// whatever noise it is in steady. Those near each other stay: they are pieces of a line that wanders by a few bins.
func (p *lineFinder) steadyLines(f profile, h hump) []peak {
	var found []peak
	for len(found) < mostInHump {
		line, ok := p.strongestIn(f, h, found)
		if !ok {
			break
		}
		p.add(line, -1)
		found = append(found, line)
	}
	var alone []peak
	for _, l := range found {
		if len(p.near(found, l.hz, company)) > 1 {
			p.add(l, 1)
			continue
		}
		alone = append(alone, l)
	}
	return alone
}

// strongestIn fits a line to the largest peak of a hump that exceeds the grains around it and is no trace of those found before.
func (p *lineFinder) strongestIn(f profile, h hump, found []peak) (line peak, ok bool) {
	most := 0.0
	for k := max(h.from, p.lowest); k < min(h.to, p.high); k++ {
		x, i := power(p.bins[k]), k/f.bins
		// At the edges of a hump its own bins exceed a grain that is noise for the most part.
		around := max(f.mean(i, i+1), f.mean(max(0, i-1), max(1, i)), f.mean(min(i+1, f.len()-1), min(i+2, f.len())))
		if x < max(most, betweenBins*p.threshold*around) || !p.isPeak(k) || p.besideStronger(k, found) {
			continue
		}
		fitted := p.fit(float64(k) * p.binHz)
		fitted.se = errorIn(around)
		if p.significant(fitted) {
			most, line, ok = x, fitted, true
		}
	}
	return line, ok
}

// trimmed returns the hump without what is noise at its ends, but for one grain of so many bins.
func (p *lineFinder) trimmed(h hump, bins int) hump {
	quiet := func(from, to int) bool {
		all, noise := 0.0, 0.0
		for k := from; k < to; k++ {
			all, noise = all+power(p.bins[k]), noise+h.at(k)
		}
		return all < humpEdge*noise
	}
	from, to := h.from, h.to
	for step := (to - from) / 4 / bins * bins; step >= bins; step = step / 2 / bins * bins {
		for from+step < to && quiet(from, from+step) {
			from += step
		}
		for to-step > from && quiet(to-step, to) {
			to -= step
		}
	}
	from, to = max(h.from, from-bins), min(h.to, to+bins)
	return h.part(from, to)
}

// filled reports whether most of a hump is above its sides: two separate lines, one much stronger than the other, have a steady envelope,
// too.
func (f profile) filled(h hump) bool {
	raised := 0
	for i := h.from / f.bins; i < h.to/f.bins; i++ {
		if f.mean(i, i+1) > humpEdge*h.at(i*f.bins) {
			raised++
		}
	}
	return 2*raised*f.bins > h.to-h.from
}

// oneLine reports whether a hump is one line that wanders, plus noise.
func (p *lineFinder) oneLine(h hump) bool {
	all, fourth, quiet := 0.0, 0.0, 0.0
	for k := h.from; k < h.to; k++ {
		x := power(p.bins[k])
		all, fourth, quiet = all+x, fourth+x*x, quiet+h.at(k)
	}
	if sincSquared*p.pad*fourth > concentrated*all*all {
		return false
	}
	share := max(0, 1-quiet/all)
	steady := steadiness(p.envelopeOf(p.bins[h.from:h.to]))
	scatter := steadyErrors / math.Sqrt(float64(h.to-h.from)/p.pad)
	return steady > ofALine*share*share-scatter*(1-share*share) && steady > min(mostSteady, scatter)
}

// steadiness returns how steady the power of an envelope is, from −∞ to 1, 0 on average for noise.
func steadiness(power []float64) float64 {
	mean, variance := stat.PopMeanVariance(power, nil)
	return 1 - variance/(mean*mean)
}

// spreadLine returns a hump as one line, given the power of its bins and of the noise in them: its place the middle, its peak from the power.
func (p *lineFinder) spreadLine(h hump, power, noise func(k int) float64) component {
	var all, moment, second, quiet float64
	for k := h.from; k < h.to; k++ {
		hz, x := float64(k-h.from)*p.binHz, power(k)-noise(k)
		all, moment, second = all+x, moment+x*hz, second+x*hz*hz
		quiet = max(quiet, noise(k))
	}
	middle := moment / all
	t := component{hz: float64(h.from)*p.binHz + middle, beta: math.Sqrt(max(0, all) / (p.pad * p.window.ENBW())), // relative to a line of 1
		wanderHz: math.Sqrt(max(0, second/all-middle*middle))}
	t.betaSE = p.spreadError(t.beta, quiet, float64(h.to-h.from)/p.pad)
	t.skirtHz = 2 * t.wanderHz
	return t
}

// spreadError returns the standard error of a line that is spread over so many bins of the record, where noise of a mean power was
// taken off: that of a line in one bin, and the noise's own scatter there and on both sides, which are half as wide together.
func (p *lineFinder) spreadError(beta, noise, bins float64) float64 {
	own := noise / p.window.ENBW()
	return math.Sqrt(fitted*noise/2 + spread*3*bins*own*own/(4*beta*beta))
}

// removeHumps subtracts the lines that wander by many bins out of phase and amplitude: jitter, amplitude modulation, and additive tones where one
// sideband holds nearly all.
func removeHumps(pm, am *lineFinder) {
	phase, amplitude := pm.profile(), am.profile()
	for _, h := range pm.humps(phase) {
		if o, ok := amplitude.hump(h.grains); ok {
			o.lines = am.steadyLines(amplitude, o)
			o = o.part(h.from, h.to)
			if t := sidedLine(pm, am, h, o); t.side != 0 {
				pm.additive = append(pm.additive, t)
				pm.flatten(h)
				am.flatten(o)
				continue
			}
			am.restore(o.lines)
		}
		pm.removeHump(h)
	}
	for _, h := range am.humps(amplitude) {
		if slices.ContainsFunc(am.removed, h.meets) {
			am.restore(h.lines)
			continue
		}
		am.removeHump(h)
	}
	for _, p := range []*lineFinder{pm, am} {
		for _, h := range p.removed {
			p.restore(h.lines) // to be found as lines are
			pm.removedSpans = append(pm.removedSpans, h.span)
		}
	}
}

// sidedLine returns the tone that a hump of phase and the same stretch of amplitude are together, with a side of 0 where they are none.
func sidedLine(pm, am *lineFinder, ofPhase, ofAmplitude hump) component {
	noise := func(k int) float64 { return (ofPhase.at(k) + ofAmplitude.at(k)) / 4 }
	upper := pm.spreadLine(ofPhase, func(k int) float64 { return power(am.bins[k]+1i*pm.bins[k]) / 4 }, noise)
	lower := pm.spreadLine(ofPhase, func(k int) float64 { return power(am.bins[k]-1i*pm.bins[k]) / 4 }, noise)
	side, strong, weak := 1, upper, lower
	if lower.beta > upper.beta {
		side, strong, weak = -1, lower, upper
	}
	if weak.beta > oneSidedRatio*strong.beta {
		return component{}
	}
	return component{hz: strong.hz, side: side, sideband: strong.beta, sidebandSE: strong.betaSE, skirtHz: strong.skirtHz, wanderHz: strong.wanderHz}
}

func (p *lineFinder) removeHump(h hump) {
	p.wanderers = append(p.wanderers, p.asLine(h))
	p.flatten(h)
}

// flatten leaves noise in a hump's place: its bins keep their phases alone.
func (p *lineFinder) flatten(h hump) {
	for k := h.from; k < h.to; k++ {
		if size := cmplx.Abs(p.bins[k]); size > 0 {
			p.bins[k] *= complex(math.Sqrt(h.at(k)*math.Ln2)/size, 0) // the median of noise of that mean
		}
	}
	p.removed = append(p.removed, h)
}
