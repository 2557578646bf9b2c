package jitter

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Distances in bins of the record.
const (
	coupled    = 1.8  // nearer than that two lines are fitted together: fitted in turn each hardly moves
	pairWithin = 2.1  // how far from the single line that two look like they are sought
	pairGrid   = 0.15 // how densely two places are tried
	leastApart = 0.3  // two lines nearer than that cannot be distinguished from one that wanders
	pairReach  = 3.2  // how far beyond the two lines bins are fitted
	// pairUnknowns are two frequencies and both quadratures of two values.
	pairUnknowns = 6
	// The fit of a pair ends where a step lowers the residual by less than stillPart of it, or no step lowers it though damped by mostDamped.
	stillPart, mostDamped = 1e-6, 1e6
)

// farLess is the share of the residual power next to one line that two may leave if they take its place.
const farLess = 0.1

// refine fits each line anew with the others subtracted.
func (p *lineFinder) refine(lines []peak) {
	all := make([]int, len(lines))
	for i := range all {
		all[i] = i
	}
	for range 2 {
		p.refit(lines, all)
	}
}

// refit fits the lines of these numbers anew, one after the other.
func (p *lineFinder) refit(lines []peak, which []int) {
	for _, i := range which {
		if j := p.partner(lines, i); j >= 0 {
			p.refitPair(lines, i, j)
			continue
		}
		p.add(lines[i], 1)
		lines[i] = p.fit(lines[i].hz)
		p.add(lines[i], -1)
	}
}

// partner returns the only line so near to line i that the two are fitted together, −1 where none or several do.
func (p *lineFinder) partner(lines []peak, i int) int {
	near := p.near(lines, lines[i].hz, coupled)
	if len(near) != 2 {
		return -1
	}
	j := near[0] + near[1] - i
	if len(p.near(lines, lines[j].hz, coupled)) != 2 {
		return -1
	}
	return j
}

// refitPair fits lines i and j anew, together.
func (p *lineFinder) refitPair(lines []peak, i, j int) {
	p.add(lines[i], 1)
	p.add(lines[j], 1)
	a, b, ok := p.fitTwo(lines[i].hz, lines[j].hz)
	if ok && lines[i].hz > lines[j].hz {
		a, b = b, a
	}
	if ok {
		lines[i], lines[j] = a, b
	}
	p.add(lines[i], -1)
	p.add(lines[j], -1)
}

// splitLines replaces one line by two wherever that is needed, among the lines from first on.
func (p *lineFinder) splitLines(lines []peak, first int) []peak {
	for i := first; i < len(lines); i++ {
		if two, ok := p.inTwo(lines[i]); ok {
			lines[i] = two[0]
			lines = slices.Insert(lines, i+1, two[1])
			i++
		}
	}
	return lines
}

// inTwo returns two lines in place of one that was subtracted, if they leave far less. Two lines a bin or so
// apart look like one between them, and what that leaves like more on either side; fitted in turn those would settle anywhere.
func (p *lineFinder) inTwo(one peak) (two [2]peak, ok bool) {
	before := p.strongest(one.hz)
	if !p.significant(before) {
		return two, false
	}
	p.add(one, 1)
	if two, ok = p.bestPair(one.hz); !ok {
		p.add(one, -1)
		return two, false
	}
	p.add(two[0], -1)
	p.add(two[1], -1)
	after := p.strongest((two[0].hz + two[1].hz) / 2)
	if p.significant(two[0]) && p.significant(two[1]) && (!p.significant(after) || power(after.value) < farLess*power(before.value)) {
		return two, true
	}
	p.add(two[0], 1)
	p.add(two[1], 1)
	p.add(one, -1)
	return two, false
}

// bestPair fits two lines to the bins around one: the best of all places on a grid, and from there downhill.
func (p *lineFinder) bestPair(hz float64) (two [2]peak, ok bool) {
	from, to := p.lobe(hz, pairReach+1)
	var places []float64
	for bins := -pairWithin; bins <= pairWithin; bins += pairGrid {
		places = append(places, hz+bins/p.seconds)
	}
	shapes := make([][]float64, len(places))
	sums := make([]complex128, len(places))
	for i, hz := range places {
		shapes[i] = make([]float64, to-from+1)
		for k := range shapes[i] {
			shapes[i][k] = p.shape(from+k, hz)
			sums[i] += p.bins[from+k] * complex(shapes[i][k], 0)
		}
	}
	best, at := 0.0, [2]float64{}
	for i := range places {
		for j := i + int(leastApart/pairGrid); j < len(places); j++ {
			var g gram
			for k, s := range shapes[i] {
				g.add(s, shapes[j][k])
			}
			a, b := g.solve(sums[i], sums[j])
			if explained := real(a*cmplx.Conj(sums[i]) + b*cmplx.Conj(sums[j])); explained > best {
				best, at = explained, [2]float64{places[i], places[j]}
			}
		}
	}
	if best == 0 {
		return two, false
	}
	two[0], two[1], ok = p.fitTwo(at[0], at[1])
	return two, ok
}

// gram holds the products of two shapes, summed over bins.
type gram struct{ aa, ab, bb float64 }

func (g *gram) add(a, b float64) { g.aa, g.ab, g.bb = g.aa+a*a, g.ab+a*b, g.bb+b*b }

// solve returns what two lines of these shapes hold, by least squares, given the products of the bins with each.
func (g gram) solve(a, b complex128) (complex128, complex128) {
	d := complex(g.aa*g.bb-g.ab*g.ab, 0)
	aa, ab, bb := complex(g.aa, 0), complex(g.ab, 0), complex(g.bb, 0)
	return (bb*a - ab*b) / d, (aa*b - ab*a) / d
}

// fitTwo fits two lines at the same time by least squares, starting at two frequencies that are good to some tenths of a
// bin. The lines are not taken out yet. Their standard errors hold what each bears on the other; ok is false where
// they cannot be distinguished from one line.
// ref: K. Levenberg, "A method for the solution of certain non-linear problems in least squares", Quart. Appl. Math. 2, 1944.
func (p *lineFinder) fitTwo(aHz, bHz float64) (a, b peak, ok bool) {
	aHz, bHz = min(aHz, bHz), max(aHz, bHz)
	from, _ := p.lobe(aHz, pairReach)
	_, to := p.lobe(bHz, pairReach)
	f := pairFit{lineFinder: p, from: from, to: to}
	f.move(aHz, bHz)
	damp := 1e-3
	for range 40 {
		step, fine := f.step(damp)
		if !fine {
			return peak{}, peak{}, false
		}
		next := f
		next.move(f.hz[0]+step[0]/p.seconds, f.hz[1]+step[1]/p.seconds)
		if (next.hz[1]-next.hz[0])*p.seconds < leastApart/2 || next.residualPower > f.residualPower {
			if damp *= 8; damp > mostDamped {
				break
			}
			continue
		}
		still := f.residualPower-next.residualPower < stillPart*f.residualPower
		f, damp = next, damp/8
		if still {
			break
		}
	}
	if (f.hz[1]-f.hz[0])*p.seconds < leastApart {
		return peak{}, peak{}, false
	}
	return f.peaks()
}

// pairFit is two lines fitted to the bins from … to.
type pairFit struct {
	*lineFinder
	from, to      int
	hz            [2]float64
	value         [2]complex128
	residualPower float64 // power
}

// move sets the frequencies, and the values to what fits best there.
func (f *pairFit) move(aHz, bHz float64) {
	f.hz = [2]float64{aHz, bHz}
	var g gram
	var a, b complex128
	for k := f.from; k <= f.to; k++ {
		u, v := f.shape(k, aHz), f.shape(k, bHz)
		g.add(u, v)
		a, b = a+f.bins[k]*complex(u, 0), b+f.bins[k]*complex(v, 0)
	}
	f.value[0], f.value[1] = g.solve(a, b)
	f.residualPower = 0
	for k := f.from; k <= f.to; k++ {
		f.residualPower += power(f.residual(k))
	}
}

// residual is what the two lines leave of bin k.
func (f *pairFit) residual(k int) complex128 {
	return f.bins[k] - f.value[0]*complex(f.shape(k, f.hz[0]), 0) - f.value[1]*complex(f.shape(k, f.hz[1]), 0)
}

// normal returns the normal equations of the two frequencies, in bins, and of both quadratures of the two values: the matrix, the right
// hand side, and the norm of one line's shape.
func (f *pairFit) normal() (n *mat.SymDense, right *mat.VecDense, norm float64) {
	const h = 1e-3
	n, right = mat.NewSymDense(pairUnknowns, nil), mat.NewVecDense(pairUnknowns, nil)
	for k := f.from; k <= f.to; k++ {
		var row [pairUnknowns]complex128
		for i, hz := range f.hz {
			slope := (f.shape(k, hz+h/f.seconds) - f.shape(k, hz-h/f.seconds)) / (2 * h)
			u := complex(f.shape(k, hz), 0)
			row[i], row[2+2*i], row[3+2*i] = f.value[i]*complex(slope, 0), u, u*1i
		}
		rest := f.residual(k)
		norm += real(row[2]) * real(row[2])
		for i, a := range row {
			right.SetVec(i, right.AtVec(i)+real(cmplx.Conj(a)*rest))
			for j := i; j < pairUnknowns; j++ {
				n.SetSym(i, j, n.At(i, j)+real(cmplx.Conj(a)*row[j]))
			}
		}
	}
	return n, right, norm
}

// step returns by how many bins each frequency should move.
func (f *pairFit) step(damp float64) (move [2]float64, ok bool) {
	n, right, _ := f.normal()
	for i := range pairUnknowns {
		n.SetSym(i, i, n.At(i, i)*(1+damp))
	}
	var c mat.Cholesky
	var x mat.VecDense
	if !c.Factorize(n) || c.SolveVecTo(&x, right) != nil {
		return move, false
	}
	for i := range move {
		move[i] = max(-0.3, min(0.3, x.AtVec(i)))
	}
	return move, true
}

// peaks returns the lines. Of each the standard error along its own phase counts for both quadratures.
func (f *pairFit) peaks() (a, b peak, ok bool) {
	n, _, norm := f.normal()
	var c mat.Cholesky
	var inverse mat.SymDense
	if !c.Factorize(n) || c.InverseTo(&inverse) != nil {
		return peak{}, peak{}, false
	}
	var out [2]peak
	for i, v := range f.value {
		single := f.at(f.hz[i]).se
		re, im := real(v)/cmplx.Abs(v), imag(v)/cmplx.Abs(v)
		j := 2 + 2*i
		variance := re*re*inverse.At(j, j) + 2*re*im*inverse.At(j, j+1) + im*im*inverse.At(j+1, j+1)
		out[i] = peak{hz: f.hz[i], value: v, se: single * math.Sqrt(max(1, norm*variance))}
	}
	return out[0], out[1], true
}
