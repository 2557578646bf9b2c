package match

import "slices"

// median returns the middle of x, 0 of nothing. x is left as it is.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Clone(x)
	slices.Sort(s)
	return s[len(s)/2]
}
