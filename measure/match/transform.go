package match

import "heardiff/measure/spectrum"

// channels transforms the channels of a block into spectra of its own. Not safe for concurrent use.
type channels struct {
	plan *spectrum.Plan
	out  [][]complex128
}

func newChannels(n int) *channels { return &channels{plan: spectrum.NewPlan(n)} }

// forward returns the bins 0 to n/2 of every sequence of x, all n long. They are overwritten by the next call.
func (p *channels) forward(x [][]float64) [][]complex128 {
	for len(p.out) < len(x) {
		p.out = append(p.out, make([]complex128, p.plan.Len()/2+1))
	}
	for c := range x {
		p.plan.Forward(p.out[c], x[c])
	}
	return p.out[:len(x)]
}
