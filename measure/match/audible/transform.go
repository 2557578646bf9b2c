package audible

import "heardiff/measure/spectrum"

// Transform transforms the channels of a block into spectra of its own. Not safe for concurrent use.
type Transform struct {
	plan *spectrum.Plan
	out  [][]complex128
}

// NewTransform returns the transform of blocks of n frames, n a power of two.
func NewTransform(n int) *Transform { return &Transform{plan: spectrum.NewPlan(n)} }

// Forward returns the bins 0 to n/2 of every sequence of x, all n long. They are overwritten by the next call.
func (p *Transform) Forward(x [][]float64) [][]complex128 {
	for len(p.out) < len(x) {
		p.out = append(p.out, make([]complex128, p.plan.Len()/2+1))
	}
	for c := range x {
		p.plan.Forward(p.out[c], x[c])
	}
	return p.out[:len(x)]
}

// Window subtracts the mean of x and applies a Hann window, in place.
func Window(x, window []float64) {
	mean := 0.0
	for i, v := range x {
		mean += v * window[i]
	}
	mean /= float64(len(x)) / 2 // the window's sum
	for i := range x {
		x[i] = (x[i] - mean) * window[i]
	}
}
