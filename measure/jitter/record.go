package jitter

import (
	"math"

	"heardiff/measure/spectrum"
)

// newRecord analyses the logarithm of baseband samples, whose memory it takes over: the capacity of z is paddedSize of its length, or
// more. Bins of pm and am run from 0 to highHz and three beyond; a line of φ or α with peak β at the middle of the record appears as
// β·exp(jθ)·window.Response.
func newRecord(z []complex128, t *transform, rateHz, lowHz, highHz float64) *record {
	n := len(z)
	r := &record{window: spectrum.Tukey(taper), seconds: float64(n) / rateHz, unbridged: 1}
	unwrap(z)
	r.detrend(z, lowHz)

	size := t.plan.Len()
	r.binHz, r.pad = rateHz/float64(size), float64(size)/float64(n)
	full := z[:size]
	clear(full[n:])
	taperEnds(full[:n])
	t.forward(full)
	// The filter bends beyond highHz: noise there would mislead its estimate at the edge.
	r.split(full, n, min(size/2-1, int(highHz/r.binHz+3*r.pad)+2))
	return r
}

// unwrap makes the imaginary part of log z continuous.
func unwrap(z []complex128) {
	last, turns := 0.0, 0.0
	for i, v := range z {
		phase := imag(v)
		if i > 0 {
			turns -= 2 * math.Pi * math.Round((phase-last)/(2*math.Pi))
		}
		last = phase
		z[i] = complex(real(v), phase+turns)
	}
}

// detrend takes a polynomial, and a slow sine if there is one, off φ and α: offset, drift and slow wander, so that their leakage does not
// reach the band. It is fitted to means under a window that lets nothing through from lowHz on: otherwise it would follow the band's own
// lines a little, and what it takes from them would come back as noise around them.
func (r *record) detrend(z []complex128, lowHz float64) {
	r.periods = max(8, int(r.seconds*lowHz))
	s := newSmoother(len(z), r.periods)
	means := s.means(z)
	trend := s.trend(means, trendOrder(means))
	fit := trend.legendre
	r.logLevel = real(fit[0])
	// φ = c₁·u over u = −1 … 1, the record, is a frequency of c₁/(π·seconds).
	r.offsetHz = imag(fit[1]) / (math.Pi * r.seconds)
	r.driftHz = imag(fit.slope(1)-fit.slope(-1)) / (math.Pi * r.seconds)
	sum := 0.0
	for b, v := range means {
		d := imag(v) - imag(fit[0]) - imag(fit[1])*s.centre(b)
		sum += d * d
	}
	r.wander = math.Sqrt(sum / float64(len(means)))
	for i := range z {
		z[i] -= trend.at((2*float64(i)+1)/float64(len(z)) - 1)
		if i > 0 {
			r.jump = max(r.jump, math.Abs(imag(z[i]-z[i-1])))
		}
	}
}

// trendOrder is the order of the polynomial that so many means determine.
func trendOrder(means []complex128) int { return min(7, max(2, len(means)/3)) }

// retrend takes off by how much a loud tick, now bridged, had bent the polynomial. z is tapered: its ends do not count.
func (r *record) retrend(z []complex128) {
	s := newSmoother(len(z), r.periods)
	means := s.means(z)
	order := trendOrder(means)
	s.prepare(order + 1)
	edge := int(math.Ceil(taper / 2 * float64(len(z))))
	first := 0
	for first < len(means)/2 && s.from(first) < edge {
		first++
	}
	last := len(means) - first
	if last-first < 2*(order+1) {
		return
	}
	s.bases = s.bases[first:last]
	bend, _ := s.fit(means[first:last], 0)
	off := make([]complex128, len(z))
	for i := range off {
		off[i] = legendre(bend).at((2*float64(i)+1)/float64(len(z)) - 1)
	}
	taperEnds(off)
	for i := range z {
		z[i] -= off[i]
	}
}
