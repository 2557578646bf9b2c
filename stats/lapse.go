package stats

import "math"

// rises returns the data with what a curve of this threshold and slope has risen to at each dose: all that a lapse rate needs.
// The list is valid until the next call.
func (f *fitter) rises(ut, lnSlope float64) []risen {
	slope, shape := math.Exp(lnSlope), f.cfg.Shape
	low, high := shape.certain()
	f.risen = f.doses.rises(f.risen[:0], func(u float64) float64 {
		if math.IsInf(u, -1) {
			return 0
		}
		return shape.rise(slope * (u - ut))
	}, ut-low/slope, ut+high/slope, slope)
	return f.risen
}

// chance returns the probability of a right answer, kept off 0 and 1 so that it and its complement have logarithms.
func (f *fitter) chance(rise, lapse float64) float64 {
	return min(max(f.cfg.Guess+(1-f.cfg.Guess-lapse)*rise, 1e-300), 1-1e-16)
}

// lnOf returns the log-likelihood of the data at a lapse rate.
func (f *fitter) lnOf(data []risen, lapse float64) float64 {
	sum := 0.0
	for _, d := range data {
		sum += weighted(d.right, d.wrong, f.chance(d.rise, lapse))
	}
	return sum
}

// topLapse is the largest lapse rate fitted.
func (f *fitter) topLapse() float64 { return math.Min(MaxLapse, (1-f.cfg.Guess)*0.999) }

// bestLapse returns the likeliest lapse rate λ within 0 to topLapse. The chance p is linear in λ, so that the log-likelihood is concave
// and has one maximum: where its derivative Σ F·(wrong/(1 − p) − right/p) falls through zero. The search begins where the last one ended.
func (f *fitter) bestLapse(data []risen) float64 {
	// loss returns the derivative of −ln and the second derivative.
	loss := func(lapse float64) (first, second float64) {
		for _, d := range data {
			p := f.chance(d.rise, lapse)
			right, wrong := d.rise/p, d.rise/(1-p)
			first += d.right*right - d.wrong*wrong
			second += d.right*right*right + d.wrong*wrong*wrong
		}
		return first, second
	}
	top := f.topLapse()
	start, edge := f.lapse, top
	if !(start > 0) {
		start = top / 2
	}
	if v, _ := loss(start); v > 0 {
		edge = 0
	}
	if v, _ := loss(edge); edge == 0 && v >= 0 || edge == top && v <= 0 {
		return edge
	}
	f.lapse = newtonRising(loss, min(start, edge), max(start, edge), start)
	return f.lapse
}
