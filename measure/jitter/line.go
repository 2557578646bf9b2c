package jitter

import (
	"math"
	"math/cmplx"
	"slices"
)

// peak is a line fitted in one spectrum of a record.
type peak struct {
	hz    float64
	value complex128 // peak at the middle of the record
	se    float64    // of each of its two quadratures
}

// component is a line of one record, classified: phase modulation beta, amplitude modulation m (radians and ratio, peak),
// or an additive tone on one side.
type component struct {
	hz       float64
	beta, m  float64
	betaSE   float64
	side     int     // −1, +1: additive, below or above the carrier
	sideband float64 // of one side, relative to the carrier
	// sidebandSE is its standard error.
	sidebandSE float64
	skirtHz    float64 // how far from a smeared tone its pieces may be; how far apart those of a wandering line
	wanderHz   float64 // RMS
}

// candidate is a stretch of grains above its sides.
type candidate struct {
	from, to    int
	side, score float64
}

// hump is a stretch of padded bins, the last not included, with the mean power of the noise below and above it.
type hump struct {
	span
	grains      candidate // where it was sought
	below, over float64
	sideBins    float64 // padded bins of the noise on both sides together
	lines       []peak  // steady ones in the stretch where it was sought, out of the bins until it is judged and taken
}

// at is the noise under the hump.
func (h hump) at(k int) float64 {
	return h.below * math.Pow(h.over/h.below, float64(k-h.from)/float64(h.to-h.from))
}

// part returns a part of the hump.
func (h hump) part(from, to int) hump {
	return hump{span{from, to}, h.grains, h.at(from), h.at(to), h.sideBins, h.lines}
}

// meets reports whether another hump has bins in common with it.
func (h hump) meets(o hump) bool { return h.from < o.to && o.from < h.to }

// rounding is what a bin of an exact digital signal may hold through rounding alone, as a ratio to the carrier.
const rounding = 1e-12

// oneSidedRatio is the ratio of the weaker sideband to the stronger below which a line is an additive tone.
const oneSidedRatio = 0.25

// lineFinder finds the lines of one spectrum and subtracts them from it.
type lineFinder struct {
	*record
	bins      []complex128
	noise     []float64 // mean |bin|² of the noise around
	low, high int       // the band
	lowest    int       // where the search begins
	threshold float64
	// rejected is what sweeps subtracted and had to restore, all of it: where noise is steep a peak may rise out of it until
	// its neighbours are fitted. Found a second time it would hide, for good, what is 20 dB below it.
	rejected []peak
	// removed is where lines that wander by many bins were, which are subtracted first: wanderers, and additive the additive tones.
	removed             []hump
	wanderers, additive []component
}

// newLineFinder prepares to find the lines of bins. noise is memory for as many numbers.
func newLineFinder(r *record, bins []complex128, band [2]float64, noise []float64) *lineFinder {
	p := &lineFinder{record: r, bins: bins, noise: noise}
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

// falseLines is how many false lines a channel of noise alone shows on average, phase and amplitude each: two
// channels, both kinds together, stay below one false line in a hundred captures.
const falseLines = 0.002

// belowBins is the bin of the record from which on lines are searched for below the band as well: their side lobes reach into the band, where
// they would pass for noise.
const belowBins = 4

func (p *lineFinder) lobe(hz, bins float64) (from, to int) {
	x := hz / p.binHz
	return max(0, int(math.Ceil(x-bins*p.pad))), min(len(p.bins)-1, int(x+bins*p.pad))
}

// near returns which lines are so many bins of the record from hz, or fewer.
func (p *lineFinder) near(lines []peak, hz, bins float64) []int {
	var out []int
	for i, l := range lines {
		if math.Abs(l.hz-hz) <= bins/p.seconds {
			out = append(out, i)
		}
	}
	return out
}

func (p *lineFinder) isPeak(k int) bool {
	here := power(p.bins[k])
	return here >= power(p.bins[k-1]) && here > power(p.bins[k+1])
}

// significant reports whether noise alone makes a line as strong rarely enough. The noise around is an estimate itself, from
// about m independent bins: the median of m exponential values scatters by 1/(√m·ln 2), by which thresholds that many times the
// noise are passed more often; a gamma distribution of that scatter gives E[exp(−T·n)] = (1 + T/ν)^−ν, ν = m·ln²2.
func (p *lineFinder) significant(l peak) bool {
	nu := 2 * float64(p.reach(int(l.hz/p.binHz))) / p.pad * math.Ln2 * math.Ln2
	return power(l.value) >= nu*math.Expm1(p.threshold/nu)*2*l.se*l.se
}

// reach returns how many bins on either side of k the noise there is the median of.
func (p *lineFinder) reach(k int) int { return min(max(int(60*p.pad), k/20), 4000) }

// project fits a line at hz to the bins from … to by least squares; norm is the power of its shape there.
func (p *lineFinder) project(hz float64, from, to int) (value complex128, norm float64) {
	for k := from; k <= to; k++ {
		w := p.shape(k, hz)
		value += p.bins[k] * complex(w, 0)
		norm += w * w
	}
	return value / complex(norm, 0), norm
}

// fit finds the line within one bin of hz with the smallest residual, by golden section over the bins of one main lobe.
func (p *lineFinder) fit(hz float64) peak {
	from, to := p.lobe(hz, 1.2) // the same bins for every trial: otherwise what they explain jumps
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
func (p *lineFinder) at(hz float64) peak {
	from, to := p.lobe(hz, 3.2)
	value, _ := p.project(hz, from, to)
	k := min(max(int(math.Round(hz/p.binHz)), 0), len(p.noise)-1)
	return peak{hz: hz, value: value, se: errorIn(p.noise[k])}
}

// errorIn returns the standard error of each quadrature of a line fitted in noise of that mean |bin|².
func errorIn(noise float64) float64 { return math.Sqrt(fitted * noise / 2) }

// add adds a line times factor to the spectrum, as far out as its side lobes could rise above a tenth of the noise; those
// of its mirror image at negative frequencies too, which matter where a strong line is at a low frequency.
func (p *lineFinder) add(line peak, factor float64) {
	// Far from the line the response falls as 1/(π·t²·x³), t the taper.
	over := math.Sqrt(power(line.value)) / (line.se*0.1 + 1e-30)
	reach := min(20000, max(8, math.Cbrt(over/(math.Pi*taper*taper))))
	p.addLobes(line.hz, line.value*complex(factor, 0), reach)
	if reach > line.hz*p.seconds {
		p.addLobes(-line.hz, cmplx.Conj(line.value)*complex(factor, 0), reach)
	}
}

// addLobes adds a line so many bins of the record to either side.
func (p *lineFinder) addLobes(hz float64, value complex128, reach float64) {
	from, to := p.lobe(hz, reach)
	for k := from; k <= to; k++ {
		p.bins[k] += value * complex(p.shape(k, hz), 0)
	}
}

// restore undoes the subtraction of lines.
func (p *lineFinder) restore(lines []peak) {
	for _, l := range lines {
		p.add(l, 1)
	}
}

// restored returns bin k with those lines added that were subtracted from it.
func (p *lineFinder) restored(k int, lines []peak) complex128 {
	x := p.bins[k]
	for _, l := range lines {
		x += l.value * complex(p.shape(k, l.hz), 0)
	}
	return x
}

// share returns the power that lines of value 1 at these places, weighed by their power, leave in the bins from … to.
func (p *lineFinder) share(from, to int, pieces ...[]peak) float64 {
	sum, weight := 0.0, 0.0
	for _, l := range slices.Concat(pieces...) {
		own := power(l.value)
		weight += own
		for k := from; k <= to; k++ {
			w := p.shape(k, l.hz)
			sum += own * w * w
		}
	}
	return sum / weight
}

// strongest fits a line to the largest peak within crowd bins of hz.
func (p *lineFinder) strongest(hz float64) peak {
	from, to := p.lobe(hz, crowd)
	from, to = max(from, p.lowest), min(to, p.high)
	best := from
	for k := from; k <= to; k++ {
		if power(p.bins[k]) > power(p.bins[best]) {
			best = k
		}
	}
	return p.fit(float64(best) * p.binHz)
}

// Distances in bins of the record.
const (
	splinter = 0.9 // so near one line may be in pieces
	crowd    = 5   // so near a neighbour makes a line doubtful
	company  = 12  // so far lines are fitted anew without it
)

// wellBelow is the power, relative to a line, below which what is near it is not subtracted in the same sweep.
const wellBelow = 0.25

// besideStronger reports whether bin k is near one of the lines and well below it.
func (p *lineFinder) besideStronger(k int, lines []peak) bool {
	return slices.ContainsFunc(p.near(lines, float64(k)*p.binHz, crowd), func(i int) bool {
		return power(p.bins[k]) < wellBelow*power(lines[i].value)
	})
}
