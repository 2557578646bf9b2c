package jitter

import (
	"math"
	"slices"

	"heardiff/measure/spectrum"
)

// smoother takes means of a record under windows of Blackman–Harris (side lobes −92 dB), four periods of the lowest
// frequency long and one apart: that frequency is the window's first zero.
type smoother struct {
	samples, length, count int
	window                 []float64
	bases                  [][]float64 // under each window
}

func newSmoother(samples, periods int) *smoother {
	s := &smoother{samples: samples, length: 4 * samples / periods, count: periods - 3}
	s.window = spectrum.BlackmanHarris4().Samples(s.length)
	s.window[0] = 0 // it is 6·10⁻⁵ at one end alone: of a steep ramp that would leave a constant, and its side lobes
	return s
}

// from returns where window b begins, centre where its middle lies on −1 … 1.
func (s *smoother) from(b int) int { return b * (s.samples - s.length) / (s.count - 1) }

func (s *smoother) centre(b int) float64 {
	return (2*float64(s.from(b))+float64(s.length)+1)/float64(s.samples) - 1
}

func (s *smoother) means(z []complex128) []complex128 {
	total := 0.0
	for _, w := range s.window {
		total += w
	}
	out := make([]complex128, s.count)
	for b := range out {
		re, im := 0.0, 0.0
		for i, v := range z[s.from(b):][:s.length] {
			re += s.window[i] * real(v)
			im += s.window[i] * imag(v)
		}
		out[b] = complex(re/total, im/total)
	}
	return out
}

// prepare notes the means of the first n of P₀, P₁ … under every window, by 32 steps of it and both its ends.
func (s *smoother) prepare(n int) {
	const points = 32
	window := spectrum.BlackmanHarris4().Samples(points)
	window[0] /= 2
	window = append(window, window[0])
	total := 0.0
	for _, w := range window {
		total += w
	}
	at := make([]float64, n)
	s.bases = make([][]float64, s.count)
	for b := range s.bases {
		s.bases[b] = make([]float64, n)
		for j, w := range window {
			legendreValues(at, s.centre(b)+(float64(j)/points-0.5)*2*float64(s.length)/float64(s.samples))
			for k := range at {
				s.bases[b][k] += w / total * at[k]
			}
		}
	}
}

// trend is a polynomial Σ c[k]·P_k(u) on u = −1 … 1, plus a slow sine.
type trend struct {
	legendre legendre
	sway     sway
}

// legendre is a polynomial Σ c[k]·P_k(u).
type legendre []complex128

// sway is cos·cos(π·cycles·u) + sin·sin(π·cycles·u): so many cycles in the record. None if cycles is 0.
type sway struct {
	cycles   float64
	cos, sin complex128
}

// leastCycles is the number of cycles from which on a sine is distinguished from a polynomial.
const leastCycles = 2.0

// meansPerTerm is how many means there must be for each term of the polynomial for a sine to be sought in what it leaves. A judgement, no source;
// TestWhatLiesBelowTheBandLeavesNoTrace holds it.
const meansPerTerm = 4

// swaying is the share of what a polynomial leaves that a sine must explain to be taken out with it. Less is noise, which
// has no one frequency.
const swaying = 0.9

// trend fits a polynomial of that order whose means are nearest to y. Where a slow sine is most of what it leaves, as where a clock
// is regulated and hunts, both are fitted together: a polynomial alone follows a sine a little, and what it then leaves has side lobes
// that no line explains.
func (s *smoother) trend(y []complex128, order int) trend {
	s.prepare(order + 1)
	c, _ := s.fit(y, 0)
	alone := trend{legendre: c}
	if len(y) < meansPerTerm*(order+1) {
		return alone
	}
	residual, all := s.residual(y, c)
	cycles := s.strongest(residual)
	more, explained := s.fit(residual, cycles)
	if cycles < leastCycles || explained < swaying*all {
		return alone
	}
	for i := range c {
		c[i] += more[i]
	}
	return trend{c, sway{cycles, more[order+1], more[order+2]}}
}

// residual returns what a polynomial leaves of y, and its power.
func (s *smoother) residual(y []complex128, c legendre) (residual []complex128, total float64) {
	for b, v := range y {
		for i, p := range s.bases[b] {
			v -= c[i] * complex(p, 0)
		}
		residual = append(residual, v)
		total += power(v)
	}
	return residual, total
}

// strongest returns how many cycles the strongest sine in y has, when a polynomial is fitted with it.
func (s *smoother) strongest(y []complex128) float64 {
	const pad = 8
	z := make([]complex128, spectrum.PowerOfTwo(pad*len(y)))
	copy(z, y)
	spectrum.NewComplexPlan(len(z)).Forward(z, z)
	best := 1
	fastest := len(z) / 4 // what is faster has few means a cycle, and is found as a line
	for k := 1; k < fastest; k++ {
		if sine(z, k) > sine(z, best) {
			best = k
		}
	}
	step := s.centre(1) - s.centre(0)      // of −1 … 1
	perBin := 2 / (step * float64(len(z))) // cycles
	missed := func(cycles float64) float64 {
		_, explained := s.fit(y, cycles)
		return -explained
	}
	// What a polynomial leaves of few cycles has other frequencies than they: those are tried.
	start := float64(best) * perBin
	for cycles := leastCycles; cycles < float64(len(s.bases[0])); cycles += 0.5 {
		if missed(cycles) < missed(start) {
			start = cycles
		}
	}
	return golden(start-0.5, start+0.5, missed)
}

// sine is the power of frequency k in both parts of a complex series.
func sine(z []complex128, k int) float64 { return power(z[k]) + power(z[len(z)-k]) }

// fit fits a polynomial, and a sine of so many cycles unless that is 0, whose means are nearest to y by least squares, and returns
// their coefficients and the power they explain.
func (s *smoother) fit(y []complex128, cycles float64) (c []complex128, explained float64) {
	n := len(s.bases[0])
	p := make([]float64, n, n+2)
	sines := cycles != 0
	damped := spectrum.BlackmanHarris4().Response(cycles * float64(s.length) / float64(s.samples))
	if sines {
		p = p[:n+2]
	}
	m, b := make([][]float64, len(p)), make([]complex128, len(p))
	for i := range m {
		m[i] = make([]float64, len(p))
	}
	for k, v := range y {
		copy(p, s.bases[k])
		if sines {
			sin, cos := math.Sincos(math.Pi * cycles * s.centre(k))
			p[n], p[n+1] = damped*cos, damped*sin
		}
		for i := range p {
			b[i] += complex(p[i], 0) * v
			for j := range p {
				m[i][j] += p[i] * p[j]
			}
		}
	}
	c = eliminate(m, slices.Clone(b))
	for i := range c {
		explained += joint(b[i], c[i])
	}
	return c, explained
}

// eliminate solves m·c = b in place, where the columns are so nearly orthogonal that no pivots are needed.
func eliminate(m [][]float64, b []complex128) []complex128 {
	for i := range m {
		for k := i + 1; k < len(m); k++ {
			f := m[k][i] / m[i][i]
			for j := i; j < len(m); j++ {
				m[k][j] -= f * m[i][j]
			}
			b[k] -= complex(f, 0) * b[i]
		}
	}
	for i := len(m) - 1; i >= 0; i-- {
		for j := i + 1; j < len(m); j++ {
			b[i] -= complex(m[i][j], 0) * b[j]
		}
		b[i] /= complex(m[i][i], 0)
	}
	return b
}

func (t trend) at(u float64) complex128 {
	v := t.legendre.at(u)
	if t.sway.cycles == 0 {
		return v
	}
	sin, cos := math.Sincos(math.Pi * t.sway.cycles * u)
	return v + t.sway.cos*complex(cos, 0) + t.sway.sin*complex(sin, 0)
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
