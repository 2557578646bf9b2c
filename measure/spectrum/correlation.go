package spectrum

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// Correlation returns the normalized correlation of two equally long sequences, −1 to 1; 0 where either is silent.
func Correlation(x, y []float64) float64 {
	if square := floats.Dot(x, x) * floats.Dot(y, y); square > 0 {
		return floats.Dot(x, y) / math.Sqrt(square)
	}
	return 0
}

// Matcher correlates one sequence with every stretch of longer ones. Not safe for concurrent use.
type Matcher struct {
	Energy   float64   // of the sequence
	Products []float64 // of the latest Match: Σ sequence[k]·x[i+k]
	energies []float64
	frames   int
	plan     *Plan
	sequence []complex128 // conjugate transform
	bins     []complex128
}

// NewMatcher returns the matcher of a sequence with others of up to size samples. It panics unless size is a power of two, 2 or more.
func NewMatcher(sequence []float64, size int) *Matcher {
	m := &Matcher{
		Energy: floats.Dot(sequence, sequence), Products: make([]float64, size), frames: len(sequence),
		plan: NewPlan(size), bins: make([]complex128, size/2+1),
	}
	m.sequence = m.plan.Forward(nil, sequence)
	for k, v := range m.sequence {
		m.sequence[k] = cmplx.Conj(v)
	}
	return m
}

// Match fills Products for each stretch of x that is as long as the sequence, and returns the energies of these until the next call.
func (m *Matcher) Match(x []float64) []float64 {
	m.plan.Forward(m.bins, x)
	for k, v := range m.sequence {
		m.bins[k] *= v
	}
	m.plan.Inverse(m.Products, m.bins)
	energies := slices.Grow(m.energies[:0], len(x)-m.frames+1)[:len(x)-m.frames+1]
	m.energies, energies[0] = energies, floats.Dot(x[:m.frames], x[:m.frames])
	for i, energy := range energies[:len(energies)-1] { // kept up to date as the stretch slides
		energies[i+1] = energy + (x[i+m.frames]*x[i+m.frames] - x[i]*x[i])
	}
	return energies
}
