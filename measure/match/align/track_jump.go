package align

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"heardiff/measure/spectrum"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// maxSteps is how many slips are looked for in one track.
const maxSteps = 6

// What a jump is. Judgement, no source; TestEveryJumpIsNamed and TestAClockThatSwingsDoesNotJump hold it.
const (
	leastTrack      = 12   // points that a track needs for jumps to be looked for in it
	leastStray      = 0.2  // frames by which the track strays at the least: a step of half a frame makes more
	leastJump       = 0.5  // frames
	muchBetter      = 0.2  // squares that steps leave, relative to those that the line or fewer steps leave
	betterThanBends = 0.5  // and to those that as many bends leave
	scatterOfJump   = 0.05 // scatter of the points around the steps, relative to the smallest jump
	pointsBetween   = 3    // points of the track between a step and its end or another step
)

// jumps looks in the track for sudden changes of delay: samples lost or repeated, too few for the anchors to see. They must
// explain the track far better than a line, or a line with as many bends, does: a clock bends, it does not jump.
// A jump is located to half the gap between the blocks on either side, and may lie within a block; a margin of so many frames is kept at
// the least.
func (f *Refinement) jumps(margin int) []Jump {
	strays := func(p point) bool { return math.Abs(p.delay) >= leastStray }
	if len(f.track) < leastTrack || !slices.ContainsFunc(f.track, strays) {
		return nil
	}
	k := newStepFit(f)
	lineLeaves, _ := k.residual(nil, false)
	var stepped, bent []float64
	var jumps []Jump
	last := lineLeaves
	for range maxSteps {
		stepped, bent = k.withAnother(stepped, false), k.withAnother(bent, true)
		stepsLeave, line := k.residual(stepped, false)
		bendsLeave, _ := k.residual(bent, true)
		if line == nil || jumps != nil && !(stepsLeave < muchBetter*last) {
			break
		}
		by := line[2:]
		if smallest(by) > leastJump && stepsLeave < muchBetter*lineLeaves && stepsLeave < betterThanBends*bendsLeave && k.scatter(stepped, line) < scatterOfJump*smallest(by) {
			jumps, last = k.jumps(stepped, by, func(gap float64) int { return max(margin, int(gap+float64(f.block))/2) }), stepsLeave
		}
	}
	return jumps
}

// smallest returns the smallest magnitude.
func smallest(x []float64) float64 {
	out := math.Inf(1)
	for _, v := range x {
		out = min(out, math.Abs(v))
	}
	return out
}

// stepFit fits lines with steps or bends to a track. Times are in parts of the track's length.
type stepFit struct {
	t, delay, weight []float64
	from, length     float64
}

func newStepFit(f *Refinement) stepFit {
	n := len(f.track)
	weight := make([]float64, n)
	for i, p := range f.track {
		weight[i] = p.weight
	}
	common := spectrum.Median(weight)
	k := stepFit{from: f.track[0].t, length: f.track[n-1].t - f.track[0].t, weight: weight}
	for i, p := range f.track {
		k.t, k.delay = append(k.t, (p.t-k.from)/k.length), append(k.delay, p.delay)
		weight[i] = min(p.weight, common) / common // a few strong blocks must not decide
	}
	return k
}

// withAnother returns the knots and one more, which helps most and is at least pointsBetween points from either end and from any other.
func (k stepFit) withAnother(at []float64, bend bool) []float64 {
	best, found := math.Inf(1), math.NaN()
	for i := pointsBetween; i < len(k.t)-pointsBetween; i++ {
		next := (k.t[i-1] + k.t[i]) / 2
		near := func(a float64) bool { return a >= k.t[i-pointsBetween] && a <= k.t[i+pointsBetween-1] }
		if slices.ContainsFunc(at, near) {
			continue
		}
		if sum, _ := k.residual(append(at[:len(at):len(at)], next), bend); sum < best {
			best, found = sum, next
		}
	}
	if math.IsNaN(found) {
		return at
	}
	return append(at, found)
}

// residual returns the weighted sum of squares that a line with steps, or bends, at the knots leaves of the track, and the line: its start,
// its slope, and the size of each step or bend. It is nil where they cannot be determined.
func (k stepFit) residual(at []float64, bend bool) (sum float64, line []float64) {
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
		sum += w * y * y
	}
	var factors mat.Cholesky
	solved := mat.NewVecDense(m, nil)
	if !factors.Factorize(matrix) || factors.SolveVecTo(solved, right) != nil {
		return math.NaN(), nil
	}
	return max(0, sum-mat.Dot(solved, right)), solved.RawVector().Data
}

// scatter returns the median distance from a line with steps. Blocks that hold a step lie between the two levels, and do
// not move the median.
func (k stepFit) scatter(at, line []float64) float64 {
	off, row := make([]float64, len(k.t)), make([]float64, len(line))
	for i, t := range k.t {
		k.row(row, t, at, false)
		off[i] = math.Abs(k.delay[i] - floats.Dot(row, line))
	}
	return spectrum.Median(off)
}

// row fills in what the coefficients are multiplied with at t.
func (k stepFit) row(row []float64, t float64, at []float64, bend bool) {
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

// jumps returns the steps in the order of time; margin returns how many frames on either side do not count, for the gap between the points
// there.
func (k stepFit) jumps(at, by []float64, margin func(gap float64) int) []Jump {
	var out []Jump
	for i, a := range at {
		next := sort.SearchFloat64s(k.t, a)
		t, clear := k.from+a*k.length, margin((k.t[next]-k.t[next-1])*k.length)
		out = append(out, Jump{At: t, By: by[i], before: int(t) - clear, after: int(t) + clear})
	}
	slices.SortFunc(out, func(x, y Jump) int { return cmp.Compare(x.At, y.At) })
	return out
}
