package match

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// maxSteps is how many slips are looked for in one track.
const maxSteps = 6

// steps looks in the track for sudden changes of delay: samples lost or repeated, too few for the anchors to see. They must
// explain what is left far better than a line, or a line with as many bends, does: a clock bends, it does not jump.
func (f *fine) steps() []slip {
	if len(f.track) < 12 || f.farthest() < 0.2 { // a step of half a frame leaves more
		return nil
	}
	k := newKnots(f)
	plain, _ := k.left(nil, false)
	var stepped, bent []float64
	var slips []slip
	last := plain
	for range maxSteps {
		stepped, bent = k.another(stepped, false), k.another(bent, true)
		left, line := k.left(stepped, false)
		curved, _ := k.left(bent, true)
		if line == nil || slips != nil && !(left < 0.2*last) {
			break
		}
		by := line[2:]
		if least(by) > 0.5 && left < 0.2*plain && left < 0.5*curved && k.scatter(stepped, line) < 0.05*least(by) {
			slips, last = k.slips(stepped, by), left
		}
	}
	return slips
}

// farthest returns by how much the track strays from the line at the most.
func (f *fine) farthest() float64 {
	most := 0.0
	for _, p := range f.track {
		most = max(most, math.Abs(p.delay))
	}
	return most
}

// least returns the smallest magnitude.
func least(x []float64) float64 {
	out := math.Inf(1)
	for _, v := range x {
		out = min(out, math.Abs(v))
	}
	return out
}

// knots fits lines with steps or bends to a track. Times are in parts of the track's length.
type knots struct {
	t, delay, weight []float64
	from, length     float64
}

func newKnots(f *fine) knots {
	n := len(f.track)
	weight := make([]float64, n)
	for i, p := range f.track {
		weight[i] = p.weight
	}
	common := median(weight)
	k := knots{from: f.track[0].t, length: f.track[n-1].t - f.track[0].t, weight: weight}
	for i, p := range f.track {
		k.t, k.delay = append(k.t, (p.t-k.from)/k.length), append(k.delay, p.delay)
		weight[i] = min(p.weight, common) / common // a few strong blocks must not decide
	}
	return k
}

// another returns the knots with the one that helps most besides, at least three points from either end and from any other.
func (k knots) another(at []float64, bend bool) []float64 {
	best, found := math.Inf(1), math.NaN()
	for i := 3; i < len(k.t)-3; i++ {
		next := (k.t[i-1] + k.t[i]) / 2
		apart := true
		for _, a := range at {
			apart = apart && (a < k.t[i-3] || a > k.t[i+2])
		}
		if !apart {
			continue
		}
		if left, _ := k.left(append(at[:len(at):len(at)], next), bend); left < best {
			best, found = left, next
		}
	}
	if math.IsNaN(found) {
		return at
	}
	return append(at, found)
}

// left returns what a line with steps, or bends, at the knots leaves of the track, weighed squares, and the line: its start,
// its slope, and the size of each step or bend. It is nil where they are not to be told.
func (k knots) left(at []float64, bend bool) (left float64, line []float64) {
	m := 2 + len(at)
	matrix, right, row := mat.NewSymDense(m, nil), mat.NewVecDense(m, nil), make([]float64, m)
	for i, t := range k.t {
		w, y := k.weight[i], k.delay[i]
		k.row(row, t, at, bend)
		for c, x := range row {
			right.SetVec(c, right.AtVec(c)+w*x*y)
			for e := range c + 1 {
				matrix.SetSym(c, e, matrix.At(c, e)+w*x*row[e])
			}
		}
		left += w * y * y
	}
	var factors mat.Cholesky
	solved := mat.NewVecDense(m, nil)
	if !factors.Factorize(matrix) || factors.SolveVecTo(solved, right) != nil {
		return math.NaN(), nil
	}
	return max(0, left-mat.Dot(solved, right)), solved.RawVector().Data
}

// scatter returns the median distance from a line with steps. Blocks with a step in them stand between, and do not move it.
func (k knots) scatter(at, line []float64) float64 {
	off, row := make([]float64, len(k.t)), make([]float64, len(line))
	for i, t := range k.t {
		k.row(row, t, at, false)
		off[i] = math.Abs(k.delay[i] - floats.Dot(row, line))
	}
	return median(off)
}

// row fills in what the coefficients are multiplied with at t.
func (k knots) row(row []float64, t float64, at []float64, bend bool) {
	row[0], row[1] = 1, t
	for c, a := range at {
		row[2+c] = 0
		switch {
		case t > a && bend:
			row[2+c] = t - a
		case t > a:
			row[2+c] = 1
		}
	}
}

// slips returns the steps in the order of time.
func (k knots) slips(at, by []float64) []slip {
	var out []slip
	for i, a := range at {
		t := k.from + a*k.length
		out = append(out, slip{at: t, by: by[i]})
	}
	slices.SortFunc(out, func(x, y slip) int { return cmp.Compare(x.at, y.at) })
	return out
}
