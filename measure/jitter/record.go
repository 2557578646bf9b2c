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
	scale    float64 // toDensity
	logLevel float64 // mean of log|z|

	offsetHz float64 // mean frequency less the mixer's
	driftHz  float64
	wander   float64 // radians RMS, less offset
	jump     float64 // largest phase step between two samples, after the trend
}

// newRecord analyses baseband samples, whose memory it takes over, up to the capacity of z. Bins of pm and am run from 0 to highHz and three beyond;
// a line of φ or α with peak β at the middle of the record stands as β·exp(jθ)·window.Response.
func newRecord(z []complex128, t *transform, rateHz, lowHz, highHz float64) *record {
	n := len(z)
	r := &record{window: spectrum.Tukey(taper), seconds: float64(n) / rateHz}
	r.takeLog(z)
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

// takeLog replaces z by log z, its phase unwrapped.
func (r *record) takeLog(z []complex128) {
	last, turns := 0.0, 0.0
	for i, v := range z {
		phase := math.Atan2(imag(v), real(v))
		if i > 0 {
			turns -= 2 * math.Pi * math.Round((phase-last)/(2*math.Pi))
		}
		last = phase
		z[i] = complex(math.Log(math.Hypot(real(v), imag(v))), phase+turns)
	}
}

// detrend takes a polynomial off φ and α, fitted to means over 1/lowHz: offset, drift and slow wander, so that
// their leakage does not reach the band.
func (r *record) detrend(z []complex128, rateHz, lowHz float64) {
	blocks := max(4, int(r.seconds*lowHz))
	means := make([]complex128, blocks)
	for b := range means {
		from, to := b*len(z)/blocks, (b+1)*len(z)/blocks
		for _, v := range z[from:to] {
			means[b] += v
		}
		means[b] /= complex(float64(to-from), 0)
	}
	fit := fitLegendre(means, min(7, blocks/3))
	r.logLevel = real(fit[0])
	// φ = c₁·u over u = −1 … 1, the whole record, is a frequency of c₁/(π·seconds).
	r.offsetHz = imag(fit[1]) / (math.Pi * r.seconds)
	r.driftHz = imag(fit.slope(1)-fit.slope(-1)) / (math.Pi * r.seconds)
	sum := 0.0
	for b, v := range means {
		u := (2*float64(b)+1)/float64(blocks) - 1
		d := imag(v) - imag(fit[0]) - imag(fit[1])*u
		sum += d * d
	}
	r.wander = math.Sqrt(sum / float64(blocks))
	for i := range z {
		z[i] -= fit.at((2*float64(i)+1)/float64(len(z)) - 1)
		if i > 0 {
			r.jump = max(r.jump, math.Abs(imag(z[i]-z[i-1])))
		}
	}
}

// split parts the transform of α + jφ into those of φ and α, in its own memory, and turns the phase reference to the
// middle of the n samples. It makes fewer bins than half of full.
func (r *record) split(full []complex128, n, bins int) {
	size := len(full)
	r.pm, r.am = full[:bins:bins], full[size-bins:]
	scale := complex(2/(float64(n)*r.window.Mean()), 0)
	var am0 complex128
	for k := range bins {
		mirror := (size - k) % size
		u, l := full[k], cmplx.Conj(full[mirror])
		sin, cos := math.Sincos(math.Pi * float64(k*n%(2*size)) / float64(size))
		turn := scale * complex(cos, sin)
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

// density returns the one-sided density of a bin of pm or am per Hz.
func (r *record) density(x complex128) float64 { return power(x) * r.toDensity() }

// toDensity is what turns |bin|² into a density: a bin of noise holds 2·S·ENBW/seconds.
func (r *record) toDensity() float64 { return r.scale }

func power(x complex128) float64 { return real(x)*real(x) + imag(x)*imag(x) }

// legendre is a polynomial Σ c[k]·P_k(u) on −1 … 1.
type legendre []complex128

// fitLegendre fits means that are evenly spaced on −1 … 1 by least squares.
func fitLegendre(y []complex128, order int) legendre {
	order = max(order, 1)
	n := order + 1
	m := make([][]float64, n)
	b := make([]complex128, n)
	for i := range m {
		m[i] = make([]float64, n)
	}
	p := make([]float64, n)
	for k, v := range y {
		legendreValues(p, (2*float64(k)+1)/float64(len(y))-1)
		for i := range p {
			b[i] += complex(p[i], 0) * v
			for j := range p {
				m[i][j] += p[i] * p[j]
			}
		}
	}
	// The basis is nearly orthogonal: elimination needs no pivots.
	for i := range m {
		for k := i + 1; k < n; k++ {
			f := m[k][i] / m[i][i]
			for j := i; j < n; j++ {
				m[k][j] -= f * m[i][j]
			}
			b[k] -= complex(f, 0) * b[i]
		}
	}
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			b[i] -= complex(m[i][j], 0) * b[j]
		}
		b[i] /= complex(m[i][i], 0)
	}
	return b
}

// legendreValues writes P₀(u) … into p by Bonnet's recursion.
func legendreValues(p []float64, u float64) {
	for k := range p {
		switch k {
		case 0:
			p[0] = 1
		case 1:
			p[1] = u
		default:
			p[k] = (float64(2*k-1)*u*p[k-1] - float64(k-1)*p[k-2]) / float64(k)
		}
	}
}

func (c legendre) at(u float64) complex128 {
	re, im := real(c[0])+real(c[1])*u, imag(c[0])+imag(c[1])*u
	before, p := 1.0, u
	for k := 2; k < len(c); k++ {
		before, p = p, (float64(2*k-1)*u*p-float64(k-1)*before)/float64(k)
		re += real(c[k]) * p
		im += imag(c[k]) * p
	}
	return complex(re, im)
}

// slope returns the derivative at u = ±1: P_k′(±1) = (±1)^(k+1)·k(k+1)/2.
func (c legendre) slope(u float64) complex128 {
	sum, sign := complex128(0), 1.0
	for k := 1; k < len(c); k++ {
		sum += c[k] * complex(sign*float64(k*(k+1))/2, 0)
		sign *= u
	}
	return sum
}
