package match

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// A profile is a recording's course in octave bands, a hundredth of a second at a time: enough to find the
// place of one recording in another, whatever their polarity, gain and drift.
type profile struct {
	hop      int
	bands    [][]float64 // bands[b][i]: log energy, its own slow course removed
	energy   []float64   // running sum of the energy in all bands, energy[i] before hop i
	spectra  *spectra    // of the channels' mix
	binHz    float64
	peak     float64
	clipped  int // samples in runs of three or more of one value near the peak
	ceilings [2]ceiling
	below    *below
	width
}

const profileBands = 7 // octaves from 125 Hz

func profileOf(r pcm.Reader) (profile, error) {
	rate := r.Format().Rate
	p := profile{hop: max(1, int(rate)/100), below: newBelow(r.Format())}
	size := spectrum.PowerOfTwo(p.hop)
	plan, window := spectrum.NewPlan(size), spectrum.Hann().Samples(p.hop)
	p.binHz = rate.Hz() / float64(size)
	p.spectra = newSpectra(p.hop, r.Frames(), int(rate.Hz()/2/bandHz))
	p.bands = make([][]float64, profileBands)
	mono, bins, power := make([]float64, p.hop), make([]complex128, size/2+1), make([]float64, size/2+1)
	err := pcm.Blocks(r, 64*p.hop, func(block [][]float64, _ int) error {
		loud := p.extremes(block)
		p.width.add(block)
		p.below.add(block)
		for from := 0; from+p.hop <= len(block[0]); from += p.hop {
			mix(mono, block, from)
			cut := cutOff(mono)
			for i := range mono {
				mono[i] *= window[i]
			}
			for k, z := range plan.Forward(bins, mono) {
				power[k] = real(z)*real(z) + imag(z)*imag(z)
			}
			if !cut {
				p.spectra.add(len(p.bands[0]), power, p.binHz, loud && p.reached(block, from))
			}
			p.add(power)
		}
		return nil
	})
	if err != nil {
		return p, fmt.Errorf("match: %w", err)
	}
	p.energy = make([]float64, len(p.bands[0])+1)
	for b := range p.bands {
		sum := 0.0
		for i, e := range p.bands[b] {
			sum += e
			p.energy[i+1] += sum
		}
		p.bands[b] = flatten(p.bands[b])
	}
	return p, nil
}

// mix writes the channels of src from from on, each weighed differently so that no two cancel, into dst.
func mix(dst []float64, src [][]float64, from int) {
	clear(dst)
	for c, ch := range src {
		w := 1 / float64(c+1)
		for i := range dst {
			dst[i] += w * ch[from+i]
		}
	}
}

// ceiling is the outermost value of one polarity, and how many samples stand at it in runs of three or more.
type ceiling struct {
	at      float64
	clipped int
}

// extremes keeps the peak, counts samples in runs of three or more that stand at it, in either polarity, and reports whether
// the block reaches it.
func (p *profile) extremes(block [][]float64) (reached bool) {
	for _, ch := range block {
		run, last := 0, 0
		for _, v := range ch {
			if math.Abs(v) < atPeak*p.peak || v == 0 {
				run = 0
				continue
			}
			reached = true
			side := 0
			if v < 0 {
				side = 1
			}
			if side != last {
				run, last = 0, side
			}
			run = p.ceilings[side].add(math.Abs(v), run)
			p.peak = max(p.peak, math.Abs(v))
		}
	}
	p.clipped = 0
	for _, c := range p.ceilings {
		if c.at >= atPeak*p.peak {
			p.clipped += c.clipped
		}
	}
	return reached
}

// add takes a magnitude after a run of so many at the ceiling, and returns the run that it is part of.
func (c *ceiling) add(v float64, run int) int {
	switch {
	case v > c.at:
		c.at, c.clipped = v, 0
		return 1
	case v < c.at:
		return 0
	case run+1 == 3:
		c.clipped += 3
	case run+1 > 3:
		c.clipped++
	}
	return run + 1
}

// cutOff reports whether digital silence begins or ends within x: the click of a cut there is no music.
func cutOff(x []float64) bool {
	silent := func(x []float64) bool { return !slices.ContainsFunc(x, func(v float64) bool { return v != 0 }) }
	return silent(x[:3]) != silent(x[len(x)-3:])
}

// atPeak is what is taken for the peak: the two polarities of a converter clip a step apart.
const atPeak = 0.999

// reached reports whether the hop from from on reaches the peak so far.
func (p *profile) reached(block [][]float64, from int) bool {
	for _, ch := range block {
		for _, v := range ch[from : from+p.hop] {
			if math.Abs(v) >= atPeak*p.peak {
				return true
			}
		}
	}
	return false
}

// add takes the powers of the bins of one hop.
func (p *profile) add(power []float64) {
	for b := range p.bands {
		lo := int(125 * math.Exp2(float64(b)) / p.binHz)
		hi := int(125 * math.Exp2(float64(b+1)) / p.binHz)
		p.bands[b] = append(p.bands[b], floats.Sum(power[min(max(1, lo), len(power)):min(hi+1, len(power))]))
	}
}

// flatten turns energies into logarithms, smoothed over three frames (so that recordings half a frame apart
// still look alike) and freed of their course over a second.
func flatten(energy []float64) []float64 {
	n := len(energy)
	mean := 1e-30
	for _, e := range energy {
		mean += e / float64(n)
	}
	at := func(i int) float64 { return energy[min(max(i, 0), n-1)] }
	sum := make([]float64, n+1) // running sum of the logarithms
	level := make([]float64, n)
	for i := range level {
		level[i] = math.Log10((at(i-1)+2*at(i)+at(i+1))/4 + 1e-7*mean)
		sum[i+1] = sum[i] + level[i]
	}
	for i := range level {
		lo, hi := max(0, i-50), min(n, i+51)
		level[i] -= (sum[hi] - sum[lo]) / float64(hi-lo)
	}
	return level
}

// hushed is the power, against the loudest, below which a stretch is no place to look for music in: noise may be all there
// is. A judgement, no source; a quiet passage among loud ones is not needed to find the place.
const hushed = 1e-4

// sounding returns the first frames of stretches of n frames between from and to that are not quiet against the loudest of
// them, evenly spread, and what share of all they are.
func (p profile) sounding(from, to, n int) (at []int, share float64) {
	count := (to - from) / n
	power, loudest := make([]float64, count), 0.0
	start := func(i int) int { return from + i*(to-from-n)/max(1, count-1) }
	for i := range power {
		last := len(p.energy) - 1
		power[i] = p.energy[min(last, (start(i)+n)/p.hop)] - p.energy[min(last, start(i)/p.hop)]
		loudest = max(loudest, power[i])
	}
	for i, e := range power {
		if e >= hushed*loudest {
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
func (p profile) stretched(drift float64) profile {
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
func candidates(a, b profile, minOverlap int) []candidate {
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
