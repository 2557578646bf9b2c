package jitter

import "heardiff/measure/spectrum"

// smoother takes means of a record under windows of Blackman–Harris (side lobes −92 dB), four periods of the lowest
// frequency long and one apart: that frequency is the window's first zero.
type smoother struct {
	samples, length, count int
	window                 []float64
}

func newSmoother(samples, periods int) smoother {
	s := smoother{samples: samples, length: 4 * samples / periods, count: periods - 3}
	s.window = spectrum.BlackmanHarris4().Samples(s.length)
	return s
}

// from returns where window b begins, centre where its middle lies on −1 … 1.
func (s smoother) from(b int) int { return b * (s.samples - s.length) / (s.count - 1) }

func (s smoother) centre(b int) float64 {
	return (2*float64(s.from(b))+float64(s.length)+1)/float64(s.samples) - 1
}

func (s smoother) means(z []complex128) []complex128 {
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

// basis writes the means of P₀, P₁ … under window b into p, by 32 points of the window.
func (s smoother) basis(p []float64, b int) {
	const points = 32
	clear(p)
	at, total := make([]float64, len(p)), 0.0
	for j, w := range spectrum.BlackmanHarris4().Samples(points) {
		legendreValues(at, s.centre(b)+(float64(j)/points-0.5)*2*float64(s.length)/float64(s.samples))
		for k := range p {
			p[k] += w * at[k]
		}
		total += w
	}
	for k := range p {
		p[k] /= total
	}
}

// legendre is a polynomial Σ c[k]·P_k(u) on −1 … 1.
type legendre []complex128

// fit fits a polynomial whose means are nearest to y by least squares.
func (s smoother) fit(y []complex128, order int) legendre {
	n := order + 1
	m := make([][]float64, n)
	b := make([]complex128, n)
	for i := range m {
		m[i] = make([]float64, n)
	}
	p := make([]float64, n)
	for k, v := range y {
		s.basis(p, k)
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
