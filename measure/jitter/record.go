package jitter

import (
	"math"
	"math/cmplx"
	"slices"

	"heardiff/measure/spectrum"
)

// taper is the part of a record that is tapered, see spectrum.Tukey: little, since lines are taken out one by one and
// each tenth of taper costs 0.16 dB of their distance from the noise.
const taper = 0.05

// spread is mean(w⁴)/mean(w²)² of that window: by it the scatter of a band's power exceeds an untapered record's.
// mean(w⁴) = 1 − t + t·35/128.
const spread = (1 - taper + taper*35./128) / ((1 - taper*5./8) * (1 - taper*5./8))

// record is the spectrum of log z over one stretch of tone.
type record struct {
	window   spectrum.Window
	seconds  float64
	binHz    float64 // of the padded transform
	pad      float64 // padded bins in one bin of the record
	pm, am   []complex128
	full     []complex128 // the memory of both
	samples  int          // less than the length of the padded transform
	scale    float64      // toDensity
	logLevel float64      // mean of log|z|

	offsetHz float64 // mean frequency less the mixer's
	driftHz  float64
	wander   float64 // radians RMS, less offset
	whole    float64 // the part that is not bridged
	periods  int     // of the band's lower end
	strayed  []span  // where lines of phase or amplitude that wander were
	jump     float64 // largest phase step between two samples, after the trend
}

// newRecord analyses the logarithm of baseband samples, whose memory it takes over, up to the capacity of z. Bins of pm and am run from 0 to highHz and three beyond;
// a line of φ or α with peak β at the middle of the record stands as β·exp(jθ)·window.Response.
func newRecord(z []complex128, t *transform, rateHz, lowHz, highHz float64) *record {
	n := len(z)
	r := &record{window: spectrum.Tukey(taper), seconds: float64(n) / rateHz, whole: 1}
	unwrap(z)
	r.detrend(z, rateHz, lowHz)

	size := t.plan.Len() // paddedSize(n)
	r.binHz, r.pad = rateHz/float64(size), float64(size)/float64(n)
	full := z[:n:n]
	if cap(z) >= size {
		full = z[:size]
		clear(full[n:])
	} else {
		full = append(full, make([]complex128, size-n)...)
	}
	taperEnds(full[:n])
	t.forward(full)
	// The filter bends beyond highHz: noise there would mislead its estimate at the edge.
	r.split(full, n, min(size/2-1, int(highHz/r.binHz+3*r.pad)+2))
	return r
}

// paddedSize returns the length of the transform of n samples: so much longer that no line falls far between two bins.
func paddedSize(n int) int {
	size := spectrum.PowerOfTwo(n)
	if float64(size) < 1.4*float64(n) {
		size *= 2
	}
	return size
}

// taperEnds applies the window in place: spectrum.Tukey, of which only the ends differ from 1.
func taperEnds(z []complex128) {
	edge := taper / 2 * float64(len(z))
	for i := 0; float64(i) < edge; i++ {
		w := complex((1-math.Cos(math.Pi*float64(i)/edge))/2, 0)
		z[i] *= w
		if i > 0 {
			z[len(z)-i] *= w
		}
	}
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

// detrend takes a polynomial, and a slow sine if there is one, off φ and α: offset, drift and slow wander, so that their leakage does not reach the band. It is
// fitted to means under a window that lets nothing through from lowHz on: else it would follow the band's own lines a little, and
// what it takes from them would come back as noise around them.
func (r *record) detrend(z []complex128, rateHz, lowHz float64) {
	r.periods = max(8, int(r.seconds*lowHz))
	s := newSmoother(len(z), r.periods)
	means := s.means(z)
	trend := s.trend(means, trendOrder(means))
	fit := trend.legendre
	r.logLevel = real(fit[0])
	// φ = c₁·u over u = −1 … 1, the whole record, is a frequency of c₁/(π·seconds).
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

// trendOrder is the order of the polynomial that so many means tell.
func trendOrder(means []complex128) int { return min(7, max(2, len(means)/3)) }

// retrend takes off by how much a loud tick, now bridged, had bent the polynomial. z is tapered: its ends tell nothing.
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

// split parts the transform of α + jφ into those of φ and α, in its own memory, and turns the phase reference to the
// middle of the n samples. It makes fewer bins than half of full.
func (r *record) split(full []complex128, n, bins int) {
	size := len(full)
	r.full, r.samples = full, n
	r.pm, r.am = full[:bins:bins], full[size-bins:]
	var am0 complex128
	for k := range bins {
		mirror := (size - k) % size
		u, l := full[k], cmplx.Conj(full[mirror])
		turn := r.turn(k)
		am, pm := (u+l)/2*turn, (u-l)/2i*turn
		if k == 0 {
			am0 = am
		} else {
			full[mirror] = am
		}
		full[k] = pm
	}
	// Amplitude stands backwards at the end: bin 1 last.
	slices.Reverse(r.am[1:])
	r.am[0] = am0
	r.scale = r.seconds / (2 * r.window.ENBW())
}

// turn turns bin k to the middle of the record and scales it.
func (r *record) turn(k int) complex128 {
	size, scale := len(r.full), 2/(float64(r.samples)*r.window.Mean())
	sin, cos := math.Sincos(math.Pi * float64(k*r.samples%(2*size)) / float64(size))
	return complex(scale*cos, scale*sin)
}

// join undoes split and returns the transform, which then takes the memory of pm and am.
func (r *record) join() []complex128 {
	slices.Reverse(r.am[1:])
	r.full[0] = complex(real(r.am[0]/r.turn(0)), real(r.pm[0]/r.turn(0)))
	r.am[0] = 0 // at its place was a bin beyond the band
	for k := 1; k < len(r.pm); k++ {
		mirror, turn := len(r.full)-k, r.turn(k)
		pm, am := r.full[k], r.full[mirror]
		r.full[k], r.full[mirror] = (am+1i*pm)/turn, cmplx.Conj((am-1i*pm)/turn)
	}
	return r.full
}

// density returns the one-sided density of a bin of pm or am per Hz.
func (r *record) density(x complex128) float64 { return power(x) * r.toDensity() }

// toDensity is what turns |bin|² into a density: a bin of noise holds 2·S·ENBW/seconds.
func (r *record) toDensity() float64 { return r.scale }

func power(x complex128) float64 { return real(x)*real(x) + imag(x)*imag(x) }
