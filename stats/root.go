package stats

import "math"

// A search ends where a bracket, or a Newton step, is a few last places of a double: relative to the abscissa, or to 1 where that is
// larger.
const bracketDone, newtonDone = 4e-16, 1e-15

// rootBetween returns a zero of f between lo and hi, where f has opposite signs, by Ridders' method safeguarded with
// bisection, to the last few bits of the abscissa. It returns NaN where f has the same sign at both ends.
func rootBetween(f func(float64) float64, lo, hi float64) float64 {
	flo, fhi := f(lo), f(hi)
	if flo == 0 {
		return lo
	}
	if fhi == 0 {
		return hi
	}
	if math.IsNaN(flo) || math.IsNaN(fhi) || math.Signbit(flo) == math.Signbit(fhi) {
		return math.NaN()
	}
	for range 200 {
		mid := lo + (hi-lo)/2
		if math.Abs(hi-lo) <= bracketDone*(math.Abs(lo)+math.Abs(hi)) || mid == lo || mid == hi {
			return mid
		}
		fm := f(mid)
		x := mid
		if s := math.Sqrt(fm*fm - flo*fhi); s > 0 && !math.IsInf(s, 0) {
			x = mid + (mid-lo)*math.Copysign(fm/s, (flo-fhi)*fm)
		}
		fx := f(x)
		if fx == 0 {
			return x
		}
		lo, flo, hi, fhi = subBracket(lo, flo, hi, fhi, mid, fm, x, fx)
	}
	return lo + (hi-lo)/2
}

// subBracket returns the ends of the first of the three subintervals that contains the change of sign.
func subBracket(lo, flo, hi, fhi, mid, fm, x, fx float64) (a, fa, b, fb float64) {
	if x < mid {
		mid, fm, x, fx = x, fx, mid, fm
	}
	switch {
	case math.Signbit(flo) != math.Signbit(fm):
		return lo, flo, mid, fm
	case math.Signbit(fm) != math.Signbit(fx):
		return mid, fm, x, fx
	}
	return x, fx, hi, fhi
}

// newtonRising returns the zero of an increasing function between lo and hi, from a start inside, with Newton steps
// where they stay inside the bracket and bisection where not. f returns value and derivative.
func newtonRising(f func(float64) (value, slope float64), lo, hi, start float64) float64 {
	x := start
	for range 200 {
		v, s := f(x)
		if v == 0 {
			return x
		}
		if v > 0 {
			hi = x
		} else {
			lo = x
		}
		next := x - v/s
		if !(next > lo && next < hi) {
			next = lo + (hi-lo)/2
		}
		if math.Abs(next-x) <= newtonDone*(1+math.Abs(x)) {
			return next
		}
		x = next
	}
	return x
}

// peak returns where f is largest between lo and hi, and that value, by golden section with parabolic steps
// (Brent's method). f must have one maximum there.
func peak(f func(float64) float64, lo, hi float64) (x, fx float64) {
	const golden = 0.3819660112501051
	const tol = 1e-11 // near a maximum f is flat to √ε, so that x has no more digits
	x = lo + golden*(hi-lo)
	w, v := x, x
	fx = f(x)
	fw, fv := fx, fx
	var step, before float64
	for range 200 {
		mid, t := 0.5*(lo+hi), tol*math.Abs(x)+1e-300
		if math.Abs(x-mid) <= 2*t-0.5*(hi-lo) {
			break
		}
		trial, ok := parabola(x, fx, w, fw, v, fv)
		if ok && math.Abs(trial) < 0.5*math.Abs(before) && x+trial > lo+2*t && x+trial < hi-2*t {
			before, step = step, trial
		} else {
			before = hi - x
			if x >= mid {
				before = lo - x
			}
			step = golden * before
		}
		if math.Abs(step) < t {
			step = math.Copysign(t, step)
		}
		u := x + step
		fu := f(u)
		if fu >= fx {
			if u >= x {
				lo = x
			} else {
				hi = x
			}
			v, fv, w, fw, x, fx = w, fw, x, fx, u, fu
			continue
		}
		if u < x {
			lo = u
		} else {
			hi = u
		}
		if fu >= fw || w == x {
			v, fv, w, fw = w, fw, u, fu
		} else if fu >= fv || v == x || v == w {
			v, fv = u, fu
		}
	}
	return x, fx
}

// scanPeak finds the highest of several maxima of f between lo and hi: a coarse scan, then peak around each point that is
// no lower than its neighbours.
func scanPeak(f func(float64) float64, lo, hi float64, steps int) (x, fx float64) {
	return peakAmong(f, evenly(lo, hi, steps))
}

// evenly returns the ends of steps equal steps from lo to hi.
func evenly(lo, hi float64, steps int) []float64 {
	at := make([]float64, steps+1)
	for i := range at {
		at[i] = lo + (hi-lo)*float64(i)/float64(steps)
	}
	return at
}

// peakAmong is scanPeak with a scan at the given rising places.
func peakAmong(f func(float64) float64, at []float64) (x, fx float64) {
	seen := make([]float64, len(at)+2) // with a margin at both ends
	seen[0], seen[len(at)+1] = math.Inf(-1), math.Inf(-1)
	for i, a := range at {
		seen[i+1] = f(a)
	}
	fx = math.Inf(-1)
	for i, a := range at {
		if v := seen[i+1]; v <= seen[i] || v < seen[i+2] {
			continue // the first point of a plateau counts
		} else if v > fx {
			x, fx = a, v
		}
		if top, v := peak(f, at[max(i-1, 0)], at[min(i+1, len(at)-1)]); v > fx {
			x, fx = top, v
		}
	}
	return x, fx
}

// parabola returns the step from x to the top of the parabola through three points.
func parabola(x, fx, w, fw, v, fv float64) (step float64, ok bool) {
	r, q := (x-w)*(fx-fv), (x-v)*(fx-fw)
	p := (x-v)*q - (x-w)*r
	q = 2 * (q - r)
	if q == 0 || math.IsNaN(p/q) {
		return 0, false
	}
	return -p / q, true
}
