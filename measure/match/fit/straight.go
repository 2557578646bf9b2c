// Package fit has the least squares of package match and its steps: straight lines, slopes whose errors hold for few and unequal blocks, the median.
package fit

import "math"

// Straight is a weighted straight line y = offset + drift·t.
type Straight struct{ w, wt, wtt, wy, wty, t0 float64 }

// leastSpread is how far points must be spread for a slope, as a share of their squared distance from the first: less is rounding.
const leastSpread = 1e-9

// New returns a line without points.
func New() *Straight { return &Straight{t0: math.NaN()} }

// Add takes a point of weight w.
func (f *Straight) Add(t, y, w float64) {
	if math.IsNaN(f.t0) {
		f.t0 = t // times from the first point keep the sums well conditioned
	}
	t -= f.t0
	f.w += w
	f.wt += w * t
	f.wtt += w * t * t
	f.wy += w * y
	f.wty += w * t * y
}

// Solve returns the line; drift is 0 where all points are at one time.
func (f *Straight) Solve() (offset, drift float64) {
	det := f.w*f.wtt - f.wt*f.wt
	if !(det > leastSpread*f.w*f.wtt) {
		return f.wy / f.w, 0
	}
	drift = (f.w*f.wty - f.wt*f.wy) / det
	at0 := (f.wy - drift*f.wt) / f.w
	return at0 - drift*f.t0, drift
}

// Errors returns the standard errors of offset and drift for points of variance scale/weight.
func (f *Straight) Errors(scale float64) (offset, drift float64) {
	det := f.w*f.wtt - f.wt*f.wt
	if !(det > leastSpread*f.w*f.wtt) {
		return math.Sqrt(scale / f.w), math.NaN()
	}
	varDrift := scale * f.w / det
	mean := f.t0 + f.wt/f.w // offset is the line at 0, the mean time away from where it is known best
	return math.Sqrt(scale/f.w + mean*mean*varDrift), math.Sqrt(varDrift)
}
