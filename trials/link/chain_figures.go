package link

import (
	"math"
	"slices"
)

// reading combines all captures of a chain for one figure. NaN means unknown.
type reading struct {
	// mean is over all captures; NaN if one of them is at its floor, because the average of the others would be too high.
	mean float64
	// variance is the variance of the mean, from the spread of two or more captures.
	variance float64
	// atMost is an upper bound of the mean where a capture is at its floor; NaN elsewhere.
	atMost float64
	// limit is the largest limit of a capture: a bound, or the smallest value that could have been measured.
	limit    float64
	captures int
	entered  bool
}

// readingOf combines the figures of a chain. Measured figures are never averaged with entered ones, which count only where
// nothing was measured.
func readingOf(all []Figure) reading {
	f, entered := measuredHere(all), false
	if len(f) == 0 {
		f = slices.DeleteFunc(slices.Clone(all), func(v Figure) bool { return !v.Entered })
		entered = len(f) > 0
	}
	nan := math.NaN()
	r := reading{mean: nan, variance: nan, atMost: nan, limit: nan, captures: len(f), entered: entered}
	if len(f) == 0 {
		return r
	}
	mean, most := 0.0, 0.0
	for _, v := range f {
		mean += v.Value / float64(len(f))
		most += v.atMost() / float64(len(f))
		r.limit = larger(r.limit, v.Limit)
	}
	r.mean = mean
	if math.IsNaN(mean) {
		r.atMost = most
		return r
	}
	if k := float64(len(f)); k > 1 {
		sum := 0.0
		for _, v := range f {
			sum += (v.Value - mean) * (v.Value - mean)
		}
		r.variance = sum / (k - 1) / k
	}
	return r
}

// measuredHere returns the measured figures that are not unknown.
func measuredHere(all []Figure) []Figure {
	var f []Figure
	for _, v := range all {
		if !v.Entered && !math.IsNaN(v.atMost()) {
			f = append(f, v)
		}
	}
	return f
}

// atMost returns the value, or its upper bound at the floor.
func (f Figure) atMost() float64 {
	if math.IsNaN(f.Value) {
		return f.Limit
	}
	return f.Value
}

// pair compares the figures of two chains. floor holds the same figure of the recording set-up alone.
func pair(a, b, floor []Figure) Pair {
	ra, rb, own := readingOf(a), readingOf(b), readingOf(floor)
	p := Pair{A: ra.mean, B: rb.mean, Difference: rb.mean - ra.mean, Uncertainty: math.Sqrt(ra.variance + rb.variance),
		AAtMost: ra.atMost, BAtMost: rb.atMost, DifferenceBeyond: math.NaN(), Limit: larger(ra.limit, rb.limit),
		CapturesA: ra.captures, CapturesB: rb.captures, EnteredA: ra.entered, EnteredB: rb.entered, Entered: ra.entered || rb.entered}
	if p.Floor = own.mean; math.IsNaN(p.Floor) {
		p.Floor = own.atMost
	}
	switch {
	case rb.mean > ra.atMost: // false where either is not known
		p.DifferenceBeyond = rb.mean - ra.atMost
	case ra.mean > rb.atMost:
		p.DifferenceBeyond = rb.atMost - ra.mean
	}
	return p
}

// larger returns the larger of two numbers, either of which may be unknown.
func larger(a, b float64) float64 {
	if math.IsNaN(a) {
		return b
	}
	if math.IsNaN(b) {
		return a
	}
	return math.Max(a, b)
}
