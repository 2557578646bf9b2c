package jitter

import (
	"math"
	"math/cmplx"
	"slices"
	"sync"

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
	window    spectrum.Window
	seconds   float64
	binHz     float64 // of the padded transform
	pad       float64 // padded bins in one bin of the record
	pm, am    []complex128
	full      []complex128 // the memory of both
	samples   int          // less than the length of the padded transform
	toDensity float64      // turns |bin|² into a one-sided density per Hz: a bin of noise holds 2·S·ENBW/seconds
	logLevel  float64      // mean of log|z|

	offsetHz     float64 // mean frequency less the mixer's
	driftHz      float64
	wander       float64 // radians RMS, less offset
	unbridged    float64 // the part that is not bridged
	periods      int     // of the band's lower end
	removedSpans []span  // where lines of phase or amplitude that wander were
	jump         float64 // largest phase step between two samples, after the trend
}

// leastPadding is the least ratio of the padded transform to the record: see betweenBins.
const leastPadding = 1.4

// paddedSize returns the length of the transform of n samples: so much longer that no line falls far between two bins.
func paddedSize(n int) int {
	size := spectrum.PowerOfTwo(n)
	if float64(size) < leastPadding*float64(n) {
		size *= 2
	}
	return size
}

// span is a stretch of padded bins, the last not included.
type span struct{ from, to int }

// transform is the one long transform, made for one channel after the other: its plan is larger than a record.
type transform struct {
	lock sync.Mutex
	plan *spectrum.ComplexPlan
}

func (t *transform) forward(z []complex128) {
	t.lock.Lock()
	defer t.lock.Unlock()
	t.plan.Forward(z, z)
}

func (t *transform) inverse(z []complex128) {
	t.lock.Lock()
	defer t.lock.Unlock()
	t.plan.Inverse(z, z)
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
	// Amplitude is at the end, reversed: bin 1 last.
	slices.Reverse(r.am[1:])
	r.am[0] = am0
	r.toDensity = r.seconds / (2 * r.window.ENBW())
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

// inTime lets f change the record as a function of time.
func (r *record) inTime(t *transform, f func(z []complex128)) {
	full := r.join()
	t.inverse(full)
	f(full[:r.samples])
	t.forward(full)
	r.split(full, r.samples, len(r.pm))
	r.toDensity /= r.unbridged
}

// inside returns the first and last bin of a band: never none.
func (r *record) inside(low, high float64) (from, to int) {
	from = min(int(math.Ceil(low/r.binHz)), len(r.pm)-1)
	return from, min(max(from, int(math.Ceil(high/r.binHz))-1), len(r.pm)-1)
}

// instant returns the time, from the middle of the record, of point i of so many. The window's ends are left out: what is there hardly
// bears on the fit.
func (r *record) instant(i, points int) float64 {
	return (1 - taper) * r.seconds * ((float64(i)+0.5)/float64(points) - 0.5)
}

// envelopeOf returns the power of some bins as a function of time. The window's ends are left out: what is there hardly bears
// on the fit.
func (r *record) envelopeOf(bins []complex128) []float64 {
	z := make([]complex128, spectrum.PowerOfTwo(len(bins)))
	copy(z, bins)
	spectrum.NewComplexPlan(len(z)).Inverse(z, z)
	half := int((1 - taper) / 2 * float64(len(z)) / r.pad)
	out := make([]float64, 0, 2*half)
	for i := -half; i < half; i++ { // 0 is the middle of the record
		out = append(out, power(z[(i+len(z))%len(z)]))
	}
	return out
}

// shape is the window's response of a line at hz in bin k.
func (r *record) shape(k int, hz float64) float64 {
	return r.window.Response((float64(k)*r.binHz - hz) * r.seconds)
}

func power(x complex128) float64 { return real(x)*real(x) + imag(x)*imag(x) }

// joint returns the real part of conj(x)·y.
func joint(x, y complex128) float64 { return real(x)*real(y) + imag(x)*imag(y) }
