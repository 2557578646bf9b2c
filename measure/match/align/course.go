package align

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure/spectrum"
)

// Course is the level of a capture's octave bands, a hundredth of a second at a time: enough to find the place of one recording in another,
// whatever their polarity, gain and drift.
type Course struct {
	hop    int         // frames
	bands  [][]float64 // bands[b][i]: energy; once closed its logarithm, its own slow course removed
	energy []float64   // running sum of the energy in all bands, energy[i] before hop i
}

// courseBands is the number of octaves from lowestOctaveHz up that a course covers: most of the energy of music, and what every recorder
// keeps.
const (
	courseBands    = 7
	lowestOctaveHz = 125
)

// NewCourse returns the course of a capture whose hops are so many frames long.
func NewCourse(hop int) Course { return Course{hop: hop, bands: make([][]float64, courseBands)} }

// Add takes the powers of the bins, binHz apart, of the next hop.
func (p *Course) Add(power []float64, binHz float64) {
	for b := range p.bands {
		lo := int(lowestOctaveHz * math.Exp2(float64(b)) / binHz)
		hi := int(lowestOctaveHz * math.Exp2(float64(b+1)) / binHz)
		p.bands[b] = append(p.bands[b], floats.Sum(power[min(max(1, lo), len(power)):min(hi+1, len(power))]))
	}
}

// Close is to be called once, after the last hop.
func (p *Course) Close() {
	p.energy = make([]float64, len(p.bands[0])+1)
	for b := range p.bands {
		sum := 0.0
		for i, e := range p.bands[b] {
			sum += e
			p.energy[i+1] += sum
		}
		p.bands[b] = flatten(p.bands[b])
	}
}

// faintHop is the energy of a hop, against the mean, below which its level counts as silence: −70 dB. A judgement, no source;
// TestQuietStretchesAreNoPlaces holds it.
// halfSecond is in hops.
const faintHop, halfSecond = 1e-7, 50

// flatten turns energies into logarithms, smoothed over three hops (so that recordings half a hop apart still look alike), less their mean
// over a second.
func flatten(energy []float64) []float64 {
	n := len(energy)
	mean := 1e-30 + floats.Sum(energy)/float64(max(1, n))
	at := func(i int) float64 { return energy[min(max(i, 0), n-1)] }
	sum := make([]float64, n+1) // running sum of the logarithms
	level := make([]float64, n)
	for i := range level {
		level[i] = math.Log10((at(i-1)+2*at(i)+at(i+1))/4 + faintHop*mean)
		sum[i+1] = sum[i] + level[i]
	}
	for i := range level {
		lo, hi := max(0, i-halfSecond), min(n, i+halfSecond+1)
		level[i] -= (sum[hi] - sum[lo]) / float64(hi-lo)
	}
	return level
}

// quietest is the power, against the loudest, below which a stretch is no place to look for music in: noise may be all there
// is. A judgement, no source; a quiet passage among loud ones is not needed to find the place. TestQuietStretchesAreNoPlaces holds it.
const quietest = 1e-4

// sounding returns the first frames of stretches of n frames between from and to that are not quiet against the loudest of
// them, evenly spread, and what share of all they are.
func (p Course) sounding(from, to, n int) (at []int, share float64) {
	count := (to - from) / n
	power, loudest := make([]float64, count), 0.0
	start := func(i int) int { return from + i*(to-from-n)/max(1, count-1) }
	for i := range power {
		last := len(p.energy) - 1
		power[i] = p.energy[min(last, (start(i)+n)/p.hop)] - p.energy[min(last, start(i)/p.hop)]
		loudest = max(loudest, power[i])
	}
	for i, e := range power {
		if e >= quietest*loudest {
			at = append(at, start(i))
		}
	}
	return at, float64(len(at)) / float64(count)
}

// candidate is a possible place of A in B: frame t of A near frame t + lag of B.
type candidate struct {
	lag   float64
	score float64
}

// stretched returns the courses of bands as a clock that is faster by drift would have taken them.
func (p Course) stretched(drift float64) Course {
	if drift == 0 {
		return p
	}
	bands := make([][]float64, len(p.bands))
	n := len(p.bands[0])
	for b, x := range p.bands {
		for i := range int(float64(n) / (1 + drift)) {
			bands[b] = append(bands[b], x[min(n-1, int(math.Round(float64(i)*(1+drift))))])
		}
	}
	p.bands = bands
	return p
}

// candidates returns the most likely lags, best first.
func candidates(a, b Course, minOverlap int) []candidate {
	na, nb := len(a.bands[0]), len(b.bands[0])
	if na == 0 || nb == 0 {
		return nil
	}
	n := spectrum.PowerOfTwo(max(2, na+nb))
	plan := spectrum.NewPlan(n)
	sum := make([]complex128, n/2+1)
	ea, eb := make([]float64, na+1), make([]float64, nb+1)
	for k := range a.bands {
		fa, fb := plan.Forward(nil, a.bands[k]), plan.Forward(nil, b.bands[k])
		for i := range sum {
			sum[i] += complex(real(fa[i]), -imag(fa[i])) * fb[i]
		}
		accumulate(ea, a.bands[k])
		accumulate(eb, b.bands[k])
	}
	c := plan.Inverse(nil, sum)
	score := func(lag int) float64 {
		from, to := max(0, -lag), min(na, nb-lag)
		if to-from < minOverlap {
			return 0
		}
		e := math.Sqrt((ea[to] - ea[from]) * (eb[to+lag] - eb[from+lag]))
		if !(e > 0) {
			return 0
		}
		return c[(lag+n)%n] / e * math.Sqrt(float64(to-from))
	}
	var all []candidate
	for lag := -na + 1; lag < nb; lag++ {
		if s := score(lag); s > 0 && s >= score(lag-1) && s > score(lag+1) {
			all = append(all, candidate{lag: float64(lag * a.hop), score: s})
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].score > all[j].score })
	return all
}

// accumulate adds the running sum of squares of x to sum.
func accumulate(sum, x []float64) {
	total := 0.0
	for i, v := range x {
		total += v * v
		sum[i+1] += total
	}
}
