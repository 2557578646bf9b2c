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
