package align

import (
	"math"
	"math/cmplx"

	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"
)

// CrossPhase is the mean joint spectrum of a channel of A and B, with its weights: |joint|²/(|A|²·|B⊥|²), B⊥ the part of B that no delay or
// gain makes of A.
type CrossPhase struct {
	N, Lo  int
	Joint  []complex128 // from bin lo on
	Weight []float64
}

// CoarseDelay returns the whole number of frames by which the channel is late, sought within a sixteenth of a block. It stays 0
// unless another is clearly better.
func (p CrossPhase) CoarseDelay() float64 {
	bins := make([]complex128, p.N/2+1)
	for i, z := range p.Joint {
		bins[p.Lo+i] = z / complex(math.Sqrt(cmplx.Abs(z))+1e-300, 0)
	}
	c := spectrum.NewPlan(p.N).Inverse(nil, bins)
	at := func(d int) float64 { return math.Abs(c[(d+p.N)%p.N]) }
	best, here := 0, max(at(-2), at(-1), at(0), at(1), at(2))
	top := clearlyBetter * here
	reach := p.N / 16
	for d := -reach; d <= reach; d++ {
		if at(d) > top {
			best, top = d, at(d)
		}
	}
	return float64(best)
}

// ResidualDelay returns by how many frames the channel is later than a delay, from the slope of the residual phase.
func (p CrossPhase) ResidualDelay(delay float64) float64 {
	joint := p.SumAt(delay)
	sign := complex(math.Copysign(1, real(joint)), 0)
	var num, den float64
	per := 2 * math.Pi / float64(p.N)
	for i, z := range p.Joint {
		omega := per * float64(p.Lo+i)
		num -= p.Weight[i] * omega * cmplx.Phase(sign*z*cmplx.Rect(1, omega*delay))
		den += p.Weight[i] * omega * omega
	}
	if !(den > 0) {
		return 0
	}
	return num / den
}

// SumAt returns the sum of the joint spectrum with a delay taken out.
func (p CrossPhase) SumAt(delay float64) complex128 {
	var sum complex128
	per := 2 * math.Pi / float64(p.N)
	for i, z := range p.Joint {
		sum += z * cmplx.Rect(1, per*float64(p.Lo+i)*delay)
	}
	return sum
}

// StandardError is the standard error of the delay: the phase of a bin scatters by 1/(2·blocks·weight).
func (p CrossPhase) StandardError(blocks float64) float64 {
	den := 0.0
	per := 2 * math.Pi / float64(p.N)
	for i, w := range p.Weight {
		omega := per * float64(p.Lo+i)
		den += w * omega * omega
	}
	return math.Sqrt(audible.PerIndependentBin / (2 * blocks * den))
}
