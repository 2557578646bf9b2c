package interpolate

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure/spectrum"
)

// phases is the number of table rows to one frame. Linear interpolation between rows errs by at most (π/phases)²/8 of a component at
// Nyquist: −154.7 dB; half as many do as well where the upper half of the band is empty.
const phases = 8192

// shape is a Kaiser-windowed sinc.
type shape struct {
	cutoff float64 // as a fraction of Nyquist
	half   int     // samples to either side
	beta   float64
	scale  float64 // makes the window 1 in its middle
}

func newShape(cutoff float64, half int, attenuationDB float64) shape {
	beta := spectrum.KaiserBeta(attenuationDB)
	return shape{cutoff: cutoff, half: half, beta: beta, scale: 1 / spectrum.BesselI0(beta)}
}

// at returns the weight of a sample t samples away.
func (s shape) at(t float64) float64 {
	u := t / float64(s.half)
	return s.cutoff * spectrum.Sinc(s.cutoff*t) * s.scale * spectrum.BesselI0(s.beta*math.Sqrt(math.Max(0, 1-u*u)))
}

// table holds the weights of a shape for finely spaced fractions of a sample.
type table struct {
	half   int
	phases int
	rows   [][]float64 // rows[p][j] weighs sample j − half + 1 for the fraction p/phases
	steps  [][]float64 // from each row to the next
}

func (s shape) table(phases int) table {
	n := 2 * s.half
	t := table{half: s.half, phases: phases, rows: make([][]float64, phases+1), steps: make([][]float64, phases)}
	all := make([]float64, (2*phases+1)*n) // a row and its step lie together
	for p := range t.rows {
		t.rows[p] = all[2*p*n : (2*p+1)*n : (2*p+1)*n]
	}
	for p := range phases/2 + 1 {
		for j := range n {
			v := s.at(float64(j-s.half+1) - float64(p)/float64(phases))
			t.rows[p][j] = v
			t.rows[phases-p][n-1-j] = v // the kernel is even in t
		}
	}
	for p := range t.steps {
		t.steps[p] = all[(2*p+1)*n : (2*p+2)*n : (2*p+2)*n]
		floats.SubTo(t.steps[p], t.rows[p+1], t.rows[p])
	}
	return t
}

// evaluate fills each channel of dst with the values of x at the instants. Where exact is true, an instant on a sample gives the sample itself.
func (t table) evaluate(dst, x [][]float64, at []instant, exact bool) {
	between := make([]float64, 2*t.half)
	for i, s := range at {
		if exact && s.row == 0 && s.weight == 0 {
			for c, out := range dst {
				out[i] = x[c][s.at]
			}
			continue
		}
		weights := t.rows[s.row]
		if s.weight != 0 {
			weights = floats.AddScaledTo(between, weights, s.weight, t.steps[s.row])
		}
		for c, out := range dst {
			out[i] = floats.Dot(weights, x[c][s.at-t.half+1:s.at+t.half+1])
		}
	}
}
