package spectrum

import (
	"math"
	"slices"
)

// Median returns the middle one of the sorted values, the upper of the two in the middle of an even number, and NaN of none. x is not changed.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	return slices.Sorted(slices.Values(x))[len(x)/2]
}

// Probable is the deviation, in standard deviations, that half of Gaussian values exceed.
const Probable = 0.6745

// Deviation returns the standard deviation of Gaussian values around 0 from their magnitudes, of which half may be anything larger: NaN of none.
func Deviation(magnitudes []float64) float64 { return Median(magnitudes) / Probable }
