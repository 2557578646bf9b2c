package jitter

import (
	"cmp"
	"slices"

	"heardiff/measure/spectrum"
)

// rounds bounds the sweeps of one spectrum: 20 dB each take no more than a dozen, and one that gains nothing bars its places to the next.
const rounds = 64

// maxLines bounds the lines of one spectrum; more are not a steady tone's.
const maxLines = 400

// A line of an exact digital signal is more than rounding, which is not quite noise, from a peak of leastLine on, as a ratio to the
// carrier: sidebands at −212 dBc. Where there is a strong line, whose place is known to the square root of rounding, it must also be more
// than traced of that line.
const (
	leastLine = 5e-11
	traced    = 1e-6
)

// find subtracts every line above the threshold, strongest first, and returns them sorted by frequency, those below the
// band too, without what may be rounding. found are lines that were subtracted before the noise around them changed: they are fitted anew.
func (p *lineFinder) find(found []peak) []peak {
	p.estimateNoise()
	p.refine(found)
	found = p.prune(found)
	p.rejected = p.rejected[:0]
	for range rounds { // each sweep reaches 20 dB further down
		fresh := p.sweep(len(found))
		if len(fresh) == 0 {
			break
		}
		before := len(found)
		found = append(found, fresh...)
		p.refine(found)
		found = p.splitLines(found, before)
		// Side lobes of strong lines made the noise around look too large, so that lines were taken out too near.
		for range 2 {
			p.estimateNoise()
			p.refine(found)
		}
		found = p.prune(found)
		if len(found) <= before {
			p.rejected = append(p.rejected, fresh...)
		}
	}
	found = exceptRounding(p.dropExplained(found))
	slices.SortFunc(found, func(a, b peak) int { return cmp.Compare(a.hz, b.hz) })
	return found
}

func (p *lineFinder) estimateNoise() {
	spectrum.LocalNoise(p.noise, func(k int) float64 { return power(p.bins[k]) }, 2, p.reach)
	p.edges()
	// Where the noise itself begins with the band, the bins below it would make it look too small.
	near := min(4*p.reach(p.low), len(p.bins)-p.low)
	inside := spectrum.LocalNoise(make([]float64, near), func(k int) float64 { return power(p.bins[k+p.low]) }, 2,
		func(k int) int { return p.reach(k + p.low) })
	for k := range p.noise {
		p.noise[k] = max(p.noise[k], rounding*rounding)
		if k < p.low+near/2 {
			p.noise[k] = max(p.noise[k], inside[max(0, k-p.low)])
		}
	}
	p.keepHumpNoise()
}

// cliff is the ratio from which two neighbouring readings of the noise are taken for the two sides of an edge.
const cliff = 2

// edges takes the larger side for the noise at an edge, where random jitter begins or ends sharply: the median
// there is that of the side which fills more of the stretch, and the other's peaks would pass for lines in it.
func (p *lineFinder) edges() {
	const mask = 1<<12 - 1 // reach is at most 4000
	var past [mask + 1]float64
	for k, own := range p.noise {
		past[k&mask] = own
		r := min(p.reach(k), k, len(p.noise)-1-k)
		if most := max(past[(k-r)&mask], p.noise[k+r]); most > cliff*own {
			p.noise[k] = most
		}
	}
}

// keepHumpNoise sets the noise around steady lines of a hump to what the hump was, which is removed by now.
func (p *lineFinder) keepHumpNoise() {
	for _, h := range p.removed {
		for _, l := range h.lines {
			from, to := p.lobe(l.hz, crowd)
			for k := from; k <= to; k++ {
				p.noise[k] = max(p.noise[k], 2*l.se*l.se/fitted)
			}
		}
	}
}

const (
	// betweenBins is the power that a line keeps at the least between two bins of the padded transform: it loses at most 1.2 dB.
	betweenBins = 0.7
	// deepest is the power of a line, against the strongest of a sweep, below which it may be a trace of stronger ones. A judgement, no source;
	// TestPairsAreTwoLinesInEveryPhase holds it.
	deepest = 0.01
)

// sweep subtracts lines, in addition to so many subtracted before, and returns them: those not far below the strongest. What is deeper may be
// the trace of strong lines not yet fitted with each other in mind.
func (p *lineFinder) sweep(before int) []peak {
	var at []int
	for k := p.lowest; k <= p.high; k++ {
		if power(p.bins[k]) > betweenBins*p.threshold*p.noise[k] && p.isPeak(k) && !p.inHump(k) {
			at = append(at, k)
		}
	}
	slices.SortFunc(at, func(a, b int) int { return cmp.Compare(power(p.bins[b]), power(p.bins[a])) })
	var found []peak
	for _, k := range at {
		if len(found) > 0 && power(p.bins[k]) < deepest*power(found[0].value) {
			break
		}
		if before+len(found) >= maxLines || power(p.bins[k]) < betweenBins*p.threshold*p.noise[k] || !p.isPeak(k) {
			continue // it was a side lobe of a stronger one
		}
		if p.besideStronger(k, found) || len(p.near(p.rejected, float64(k)*p.binHz, splinter)) > 0 {
			continue // it may be a trace of that, or is none
		}
		line := p.fit((float64(k)) * p.binHz)
		if !p.significant(line) {
			continue
		}
		p.add(line, -1)
		found = append(found, line)
	}
	return found
}

// inHump reports whether a line that wanders was at bin k, and no steady line near it.
func (p *lineFinder) inHump(k int) bool {
	return slices.ContainsFunc(p.removed, func(h hump) bool {
		return k >= h.from && k < h.to && len(p.near(h.lines, float64(k)*p.binHz, splinter)) == 0
	})
}

// prune restores the lines that refining has shown to be traces of others.
func (p *lineFinder) prune(lines []peak) []peak {
	return slices.DeleteFunc(lines, func(l peak) bool {
		trace := !p.significant(l)
		if trace {
			p.add(l, 1)
		}
		return trace
	})
}

// exceptRounding leaves out what may be rounding.
func exceptRounding(lines []peak) []peak {
	least := leastLine * leastLine
	for _, l := range lines {
		least = max(least, traced*traced*power(l.value))
	}
	return slices.DeleteFunc(lines, func(l peak) bool { return power(l.value) < least })
}

// inBand returns the lines, sorted by frequency, that are in the band.
func (p *lineFinder) inBand(lines []peak) []peak {
	low := float64(p.low) * p.binHz
	for i, l := range lines {
		if l.hz >= low {
			return lines[i:]
		}
	}
	return nil
}
