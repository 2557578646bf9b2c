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
	beta := 0.1102 * (attenuationDB - 8.7)
	return shape{cutoff: cutoff, half: half, beta: beta, scale: 1 / bessel0(beta)}
}

// at returns the weight of a sample t samples away.
func (s shape) at(t float64) float64 {
	u := t / float64(s.half)
	return s.cutoff * spectrum.Sinc(s.cutoff*t) * s.scale * bessel0(s.beta*math.Sqrt(math.Max(0, 1-u*u)))
}

// bessel0 returns the modified Bessel function I₀(x) by its power series, which converges for every x.
func bessel0(x float64) float64 {
	q := x * x / 4
	sum, term := 1.0, 1.0
	for i := 1.0; term > sum*1e-17; i++ {
		term *= q / (i * i)
		sum += term
	}
	return sum
}

// table holds the weights of a shape for finely spaced fractions of a sample.
type table struct {
	half   int
	phases int
	rows   [][]float64 // rows[p][j] weighs sample j − half + 1 for the fraction p/phases
}

func (s shape) table(phases int) table {
	n := 2 * s.half
	all := make([]float64, (phases+1)*n)
	rows := make([][]float64, phases+1)
	for p := range rows {
		rows[p] = all[p*n : (p+1)*n : (p+1)*n]
	}
	for p := range phases/2 + 1 {
		for j := range n {
			v := s.at(float64(j-s.half+1) - float64(p)/float64(phases))
			rows[p][j] = v
			rows[phases-p][n-1-j] = v // the kernel is even in t
		}
	}
	return table{half: s.half, phases: phases, rows: rows}
}

// evaluate fills dst with x at the instants. Where exact is true, an instant on a sample gives the sample itself.
func (t table) evaluate(dst, x []float64, at []instant, exact bool) {
	for i, s := range at {
		if exact && s.row == 0 && s.weight == 0 {
			dst[i] = x[s.at]
			continue
		}
		around := x[s.at-t.half+1 : s.at+t.half+1]
		dst[i] = floats.Dot(t.rows[s.row], around)
		if s.weight != 0 { // between two rows
			dst[i] = (1-s.weight)*dst[i] + s.weight*floats.Dot(t.rows[s.row+1], around)
		}
	}
}
