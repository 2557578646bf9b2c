package match

import "heardiff/measure/spectrum"

// pairPlan transforms real sequences two at a time: one as the real and one as the imaginary part of a complex one,
// which costs a third less than two transforms of real numbers do. Not safe for concurrent use.
type pairPlan struct {
	n    int
	plan *spectrum.ComplexPlan
	z    []complex128
	out  [][]complex128
}

func newPairPlan(n int) *pairPlan {
	return &pairPlan{n: n, plan: spectrum.NewComplexPlan(n), z: make([]complex128, n)}
}

// forward returns the bins 0 to n/2 of every sequence of x, all n long. They are the plan's until the next call.
func (p *pairPlan) forward(x [][]float64) [][]complex128 {
	for len(p.out) < len(x) {
		p.out = append(p.out, make([]complex128, p.n/2+1))
	}
	for c := 0; c < len(x); c += 2 {
		second := x[min(c+1, len(x)-1)] // an odd one out goes with itself
		for i, v := range x[c] {
			p.z[i] = complex(v, second[i])
		}
		p.plan.Forward(p.z, p.z)
		p.split(p.out[c], p.out[min(c+1, len(x)-1)])
	}
	return p.out[:len(x)]
}

// split takes the transform of u + j·v apart: U is its conjugate-even part, V its conjugate-odd part over j.
func (p *pairPlan) split(u, v []complex128) {
	for k := range u {
		z, w := p.z[k], p.z[(p.n-k)%p.n]
		v[k] = complex(imag(z)+imag(w), real(w)-real(z)) / 2
		u[k] = complex(real(z)+real(w), imag(z)-imag(w)) / 2
	}
}
