package jitter

import (
	"math"
	"math/cmplx"
	"slices"

	"heardiff/measure/spectrum"
)

// falseLines is how many false lines a channel of noise alone shows on average, phase and amplitude each: two
// channels, both kinds together, stay below one false line in a hundred captures.
const falseLines = 0.002

// rounds bounds the sweeps of one spectrum: 20 dB each take no more than a dozen, and one that gains nothing bars its places to the next.
const rounds = 64

// maxLines bounds the lines of one spectrum; more are not a steady tone's.
const maxLines = 400

// Lines are sought from a tenth of the band's lower end on, and from the fourth bin of the record: their side lobes reach into
// the band, where they would pass for noise.
const (
	belowBand = 10
	belowBins = 4
)

// rounding is what a bin of an exact digital signal may hold through rounding alone, as a ratio to the carrier.
const rounding = 1e-12

// A line of such a signal is more than rounding, which is not quite noise, from a peak of leastLine on, as a ratio to the carrier: sidebands at
// −212 dBc. Beside a strong line it must be more than traced of that, too, whose place is known to the square root of rounding.
const (
	leastLine = 5e-11
	traced    = 1e-6
)

// peak is a line fitted in one spectrum of a record.
type peak struct {
	hz    float64
	value complex128 // peak at the middle of the record
	se    float64    // of each of its two quadratures
}

// peeler takes lines out of one spectrum.
type peeler struct {
	*record
	bins      []complex128
	noise     []float64 // mean |bin|² of the noise around
	low, high int       // the band
	lowest    int       // where the search begins
	threshold float64
	// barren is what sweeps took out that was put back again, all of it: where noise is steep a peak may stand out of it until
	// its neighbours are fitted. Sought again it would hide, for good, what stands 20 dB below it.
	barren []peak
	// taken is where lines that wander by many bins stood, which were taken out first: moving, and sided the additive tones.
	taken         []hump
	moving, sided []tone
}

// newPeeler prepares to take the lines out of bins. It takes over the memory of noise if there is enough.
func newPeeler(r *record, bins []complex128, band [2]float64, noise []float64) *peeler {
	p := &peeler{record: r, bins: bins, noise: noise}
	if len(noise) != len(bins) {
		p.noise = make([]float64, len(bins))
	}
	p.low = max(1, int(math.Ceil(band[0]/r.binHz)))
	p.high = min(len(bins)-2, int(band[1]/r.binHz))
	p.lowest = min(p.low, int(belowBins*r.pad))
	// ref: S. O. Rice, "Mathematical analysis of random noise", Bell Syst. Tech. J. 23, 1944: the maxima of a
	// continuous spectrum of noise cross T·mean at a rate of √(πT/3)·exp(−T) for each bin of 1/seconds.
	count := max(1, (band[1]-band[0])*r.seconds)
	p.threshold = 10
	for range 20 {
		p.threshold = math.Log(count / falseLines * math.Sqrt(math.Pi*p.threshold/3))
	}
	return p
}

// reach returns how many bins on either side of k tell the noise there.
func (p *peeler) reach(k int) int { return min(max(int(60*p.pad), k/20), 4000) }

func (p *peeler) listen() {
	spectrum.LocalNoiseOf(p.noise, func(k int) float64 { return power(p.bins[k]) }, 2, p.reach)
	p.edges()
	// Where the noise itself begins with the band, the bins below it would make it look too small.
	near := min(4*p.reach(p.low), len(p.bins)-p.low)
	inside := spectrum.LocalNoiseOf(make([]float64, near), func(k int) float64 { return power(p.bins[k+p.low]) }, 2,
		func(k int) int { return p.reach(k + p.low) })
	for k := range p.noise {
		p.noise[k] = max(p.noise[k], rounding*rounding)
		if k < p.low+near/2 {
			p.noise[k] = max(p.noise[k], inside[max(0, k-p.low)])
		}
	}
	p.listenToHumps()
}

// cliff is the ratio from which two neighbouring readings of the noise are taken for the two sides of an edge.
const cliff = 2

// edges lets the larger side speak for the noise at an edge, where random jitter begins or ends sharply: the median
// there is that of the side which fills more of the stretch, and the other's peaks would stand out of it as lines.
func (p *peeler) edges() {
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

// peel takes out every line above the threshold, strongest first, and returns them sorted by frequency, those below the
// band too, without what may be rounding. found are lines that were taken out before the noise around them changed: they are fitted anew.
func (p *peeler) peel(found []peak) []peak {
	p.listen()
	p.refine(found)
	found = p.prune(found)
	p.barren = p.barren[:0]
	for range rounds { // each sweep reaches 20 dB further down
		fresh := p.sweep(len(found))
		if len(fresh) == 0 {
			break
		}
		before := len(found)
		found = append(found, fresh...)
		p.refine(found)
		found = p.part(found, before)
		// Side lobes of strong lines made the noise around look too large, so that lines were taken out too near.
		for range 2 {
			p.listen()
			p.refine(found)
		}
		found = p.prune(found)
		if len(found) <= before {
			p.barren = append(p.barren, fresh...)
		}
	}
	found = exceptRounding(p.needless(found))
	slices.SortFunc(found, func(a, b peak) int {
		if a.hz < b.hz {
			return -1
		}
		return 1
	})
	return found
}

// exceptRounding leaves out what may be rounding.
func exceptRounding(lines []peak) []peak {
	least := leastLine * leastLine
	for _, l := range lines {
		least = max(least, traced*traced*power(l.value))
	}
	return slices.DeleteFunc(lines, func(l peak) bool { return power(l.value) < least })
}

// inBand returns those of the lines, sorted by frequency, that stand in the band.
func (p *peeler) inBand(lines []peak) []peak {
	low := float64(p.low) * p.binHz
	for i, l := range lines {
		if l.hz >= low {
			return lines[i:]
		}
	}
	return nil
}

// sweep takes out lines beside so many taken out before, and returns them: those not far below the strongest. What stands deeper may be
// the trace of strong lines not yet fitted with each other in mind.
func (p *peeler) sweep(before int) []peak {
	var at []int
	for k := p.lowest; k <= p.high; k++ {
		// Between two bins of the padded transform a line loses at most 1.2 dB.
		if power(p.bins[k]) > 0.7*p.threshold*p.noise[k] && p.tops(k) && !p.gone(k) {
			at = append(at, k)
		}
	}
	slices.SortFunc(at, func(a, b int) int {
		if power(p.bins[a]) > power(p.bins[b]) {
			return -1
		}
		return 1
	})
	var found []peak
	for _, k := range at {
		if len(found) > 0 && power(p.bins[k]) < 0.01*power(found[0].value) {
			break
		}
		if before+len(found) >= maxLines || power(p.bins[k]) < 0.7*p.threshold*p.noise[k] || !p.tops(k) {
			continue // it was a side lobe of a stronger one
		}
		if p.beside(k, found) || len(p.near(p.barren, float64(k)*p.binHz, splinter)) > 0 {
			continue // it may be a trace of that, or is none
		}
		line := p.fit((float64(k)) * p.binHz)
		if !p.stands(line) {
			continue
		}
		p.add(line, -1)
		found = append(found, line)
	}
	return found
}

// beside reports whether bin k stands near one of the lines and well below it.
func (p *peeler) beside(k int, lines []peak) bool {
	return slices.ContainsFunc(p.near(lines, float64(k)*p.binHz, crowd), func(i int) bool {
		return power(p.bins[k]) < wellBelow*power(lines[i].value)
	})
}

// gone reports whether a line that wanders stood at bin k, and no steady line beside it.
func (p *peeler) gone(k int) bool {
	return slices.ContainsFunc(p.taken, func(h hump) bool {
		return k >= h.from && k < h.to && len(p.near(h.lines, float64(k)*p.binHz, splinter)) == 0
	})
}

func (p *peeler) tops(k int) bool {
	here := power(p.bins[k])
	return here >= power(p.bins[k-1]) && here > power(p.bins[k+1])
}

// refine fits each line again with the others taken out.
func (p *peeler) refine(lines []peak) {
	all := make([]int, len(lines))
	for i := range all {
		all[i] = i
	}
	for range 2 {
		p.refit(lines, all)
	}
}

// refit fits the lines of these numbers again, one after the other.
func (p *peeler) refit(lines []peak, which []int) {
	for _, i := range which {
		if j := p.partner(lines, i); j >= 0 {
			p.refitPair(lines, i, j)
			continue
		}
		p.add(lines[i], 1)
		lines[i] = p.fit(lines[i].hz)
		p.add(lines[i], -1)
	}
}

// prune puts back the lines that refining has shown to be traces of others.
func (p *peeler) prune(lines []peak) []peak {
	kept := lines[:0]
	for _, l := range lines {
		if !p.stands(l) {
			p.add(l, 1)
			continue
		}
		kept = append(kept, l)
	}
	return kept
}

// stands reports whether noise alone makes a line as strong too rarely. The noise around is an estimate itself, from
// about m independent bins: the median of m exponential values scatters by 1/(√m·ln 2), by which thresholds that many times the
// noise are passed more often; a gamma distribution of that scatter gives E[exp(−T·n)] = (1 + T/ν)^−ν, ν = m·ln²2.
func (p *peeler) stands(l peak) bool {
	nu := 2 * float64(p.reach(int(l.hz/p.binHz))) / p.pad * math.Ln2 * math.Ln2
	return power(l.value) >= nu*math.Expm1(p.threshold/nu)*2*l.se*l.se
}

// fit finds the line within one bin of hz that leaves least behind, by golden section over the bins of one main lobe.
func (p *peeler) fit(hz float64) peak {
	from, to := p.lobe(hz, 1.2) // the same bins for every trial, else what they explain jumps
	return p.at(golden(hz-0.7*p.binHz, hz+0.7*p.binHz, func(hz float64) float64 {
		value, norm := p.project(hz, from, to)
		return -power(value) * norm
	}))
}

// golden returns where between two numbers f is least, by golden section.
func golden(lo, hi float64, f func(float64) float64) float64 {
	const ratio = 0.6180339887498949
	a, b := hi-ratio*(hi-lo), lo+ratio*(hi-lo)
	fa, fb := f(a), f(b)
	for range 40 {
		if fa < fb {
			hi, b, fb = b, a, fa
			a = hi - ratio*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + ratio*(hi-lo)
			fb = f(b)
		}
	}
	return (lo + hi) / 2
}

// fitted is how much more noise a line fitted to three lobes on either side takes up than one fitted to all bins.
const fitted = 1.017

// at returns the line fitted at a given frequency.
func (p *peeler) at(hz float64) peak {
	from, to := p.lobe(hz, 3.2)
	value, _ := p.project(hz, from, to)
	k := min(max(int(math.Round(hz/p.binHz)), 0), len(p.noise)-1)
	return peak{hz: hz, value: value, se: errorIn(p.noise[k])}
}

// errorIn returns the standard error of each quadrature of a line fitted in noise of that mean |bin|².
func errorIn(noise float64) float64 { return math.Sqrt(fitted * noise / 2) }

// project fits a line at hz to the bins from … to by least squares; norm is the power of its shape there.
func (p *peeler) project(hz float64, from, to int) (value complex128, norm float64) {
	for k := from; k <= to; k++ {
		w := p.shape(k, hz)
		value += p.bins[k] * complex(w, 0)
		norm += w * w
	}
	return value / complex(norm, 0), norm
}

func (p *peeler) lobe(hz, bins float64) (from, to int) {
	x := hz / p.binHz
	return max(0, int(math.Ceil(x-bins*p.pad))), min(len(p.bins)-1, int(x+bins*p.pad))
}

// shape is the window's response of a line at hz in bin k.
func (r *record) shape(k int, hz float64) float64 {
	return r.window.Response((float64(k)*r.binHz - hz) * r.seconds)
}

// add puts a line into the spectrum times factor, as far out as its side lobes could stand above a tenth of the noise; those
// of its mirror image at negative frequencies too, which matter where a strong line stands low.
func (p *peeler) add(line peak, factor float64) {
	// Far from the line the response falls as 1/(π·t²·x³), t the taper.
	over := math.Sqrt(power(line.value)) / (line.se*0.1 + 1e-30)
	reach := min(20000, max(8, math.Cbrt(over/(math.Pi*taper*taper))))
	p.addLobes(line.hz, line.value*complex(factor, 0), reach)
	if reach > line.hz*p.seconds {
		p.addLobes(-line.hz, cmplx.Conj(line.value)*complex(factor, 0), reach)
	}
}

// putBack undoes taking out lines.
func (p *peeler) putBack(lines []peak) {
	for _, l := range lines {
		p.add(l, 1)
	}
}

// addLobes adds a line so many bins of the record to either side.
func (p *peeler) addLobes(hz float64, value complex128, reach float64) {
	from, to := p.lobe(hz, reach)
	for k := from; k <= to; k++ {
		p.bins[k] += value * complex(p.shape(k, hz), 0)
	}
}
