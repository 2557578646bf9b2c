package integrity

import (
	"heardiff/measure/spectrum"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// filterReach is how many frames before and after one word a filter is looked for in.
const filterReach = 32

// pair is a piece of one sent channel, with mostReach frames more at either end, and of the received one that carries it.
type pair struct{ a, b []float64 }

// straight is the sent piece in step with the received one.
func (p pair) straight() []float64 { return p.a[mostReach : mostReach+len(p.b)] }

// around is the sent piece, with reach frames more at either end.
func (p pair) around(reach int) []float64 { return p.a[mostReach-reach : mostReach+len(p.b)+reach] }

// noise is the residual of a fit.
type noise struct {
	peak, rms float64
	share     float64 // rms relative to what was sent
	kurtosis  float64 // 1.8 of a uniform distribution, 2.6 of rounding after triangular dither, 3 of Gaussian noise
	cut       float64 // share of words within one step of what is expected before the constant
	words     int
}

// fitter fits wires. It knows the words received.
type fitter struct{ step, top float64 }

// clipped reports whether a received word is at an end of its scale: it says nothing.
func (f fitter) clipped(v float64) bool { return math.Abs(v) >= f.top }

// robust fits twice more without the pieces that fit far worse than most: they may hold faults.
func (f fitter) robust(pairs []pair, fit func([]pair) wire) wire {
	used := slices.DeleteFunc(slices.Clone(pairs), func(p pair) bool { return rms(p.a) == 0 })
	if len(used) == 0 {
		used = pairs
	}
	w := fit(used)
	for range 2 {
		residuals := make([]float64, len(used))
		for i, p := range used {
			n := f.residual(w, []pair{p})
			residuals[i] = n.rms
			if w.filtered() {
				residuals[i] = n.share
			}
		}
		most := 3 * spectrum.Median(residuals)
		if !w.filtered() {
			most += f.step
		}
		kept := make([]pair, 0, len(used))
		for i, p := range used {
			if residuals[i] <= most {
				kept = append(kept, p)
			}
		}
		used = kept
		w = fit(used)
	}
	w.noise = f.residual(w, used)
	return w
}

// residual measures what a wire leaves unexplained, clipped words apart.
func (f fitter) residual(w wire, pairs []pair) noise {
	var n noise
	square, fourth, sent := 0.0, 0.0, 0.0
	within := 0
	for _, p := range pairs {
		want := make([]float64, len(p.b))
		w.apply(want, p.around(len(w.taps)/2))
		for i, v := range p.b {
			if f.clipped(v) {
				continue
			}
			e := v - want[i]
			n.peak = max(n.peak, math.Abs(e))
			square += e * e
			fourth += e * e * e * e
			sent += p.straight()[i] * p.straight()[i]
			n.words++
			if math.Abs(e+w.constant) < f.step*(1-constantRounding) {
				within++
			}
		}
	}
	if n.words > 0 {
		count := float64(n.words)
		n.rms, n.cut, n.kurtosis = math.Sqrt(square/count), float64(within)/count, fourth*count/(square*square)
		n.share = math.Sqrt(square / sent)
	}
	return n
}

// sums of all words of pieces.
type sums struct{ n, a, b, aa, ab float64 }

func (f fitter) sum(pairs []pair) (s sums) {
	for _, p := range pairs {
		a := p.straight()
		for i, v := range p.b {
			if f.clipped(v) {
				continue
			}
			s.n++
			s.a += a[i]
			s.b += v
			s.aa += a[i] * a[i]
			s.ab += a[i] * v
		}
	}
	return s
}

// unit fits a constant to words that are the sent ones, upright or inverted.
func (f fitter) unit(pairs []pair) wire {
	s := f.sum(pairs)
	if s.n == 0 {
		return wire{taps: []float64{1}}
	}
	g := 1.0
	if s.ab*s.n < s.a*s.b {
		g = -1
	}
	return wire{taps: []float64{g}, constant: f.constant((s.b - g*s.a) / s.n)}
}

// constantRounding is by how much, in steps, a constant may miss an integer by the rounding of sums alone.
const constantRounding = 1e-6

// constant rounds a constant that is an integer number of steps to within rounding, so that equal words are equal.
func (f fitter) constant(v float64) float64 {
	if steps := math.Round(v / f.step); math.Abs(v/f.step-steps) < constantRounding {
		return steps * f.step
	}
	return v
}

// gain fits a gain and a constant.
func (f fitter) gain(pairs []pair) wire {
	s := f.sum(pairs)
	spread := s.aa*s.n - s.a*s.a
	if spread <= 0 {
		return f.unit(pairs)
	}
	g := (s.ab*s.n - s.a*s.b) / spread
	return wire{taps: []float64{g}, constant: (s.b - g*s.a) / s.n}
}

// filter fits the taps that leave the least, by the normal equations. Words that were clipped are taken to be what the
// fit before makes of them.
func (f fitter) filter(pairs []pair) wire {
	const n = 2*filterReach + 1
	r := mat.NewSymDense(n, nil)
	for _, p := range pairs {
		correlate(r, p)
	}
	level := r.At(0, 0)
	for k := range n {
		r.SetSym(k, k, r.At(k, k)+1e-9*level) // where nothing was sent at some frequencies, any response would do
	}
	var chol mat.Cholesky
	if !chol.Factorize(r) {
		return f.gain(pairs)
	}
	w := solve(&chol, pairs)
	if slices.ContainsFunc(pairs, func(p pair) bool { return slices.ContainsFunc(p.b, f.clipped) }) {
		for range 4 {
			w = solve(&chol, f.unclipped(w, pairs))
		}
	}
	return w
}

// solve returns the taps for what was received.
func solve(chol *mat.Cholesky, pairs []pair) wire {
	const last = 2 * filterReach
	v, taps := mat.NewVecDense(last+1, nil), mat.NewVecDense(last+1, nil)
	for _, p := range pairs {
		x := p.around(filterReach)
		for l := range last + 1 {
			v.SetVec(l, v.AtVec(l)+floats.Dot(p.b, x[last-l:][:len(p.b)]))
		}
	}
	if err := chol.SolveVecTo(taps, v); err != nil {
		return wire{taps: []float64{1}} // the matrix is all but singular: it explains nothing
	}
	return wire{taps: taps.RawVector().Data}
}

// unclipped returns the pieces with what a wire makes of clipped words, where that lies beyond the end of the scale.
func (f fitter) unclipped(w wire, pairs []pair) []pair {
	mended := make([]pair, len(pairs))
	for k, p := range pairs {
		b, want := slices.Clone(p.b), make([]float64, len(p.b))
		w.apply(want, p.around(len(w.taps)/2))
		for i, v := range b {
			if f.clipped(v) && want[i]*v > v*v {
				b[i] = want[i]
			}
		}
		mended[k] = pair{a: p.a, b: b}
	}
	return mended
}

// correlate adds the products of one piece with itself. Each further row follows from the one above: what enters at one end
// and leaves at the other.
func correlate(r *mat.SymDense, p pair) {
	const last = 2 * filterReach
	x, n := p.around(filterReach), len(p.b)
	products := make([][last + 1]float64, last+1)
	for m := range last + 1 {
		products[0][m] = floats.Dot(x[last:][:n], x[last-m:][:n])
	}
	for l := range last {
		for m := l; m < last; m++ {
			products[l+1][m+1] = products[l][m] + x[last-l-1]*x[last-m-1] - x[last-l-1+n]*x[last-m-1+n]
		}
	}
	for l := range last + 1 {
		for m := l; m <= last; m++ {
			r.SetSym(l, m, r.At(l, m)+products[l][m])
		}
	}
}
