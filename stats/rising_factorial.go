package stats

import (
	"math"
	"slices"
)

// steps is a step function of j = 0, 1, 2, …: how many of a set of numbers are larger than j. It is stored run-length
// encoded, so that memory and time grow with the number of different values, not with their size.
type steps []stepRun

// stepRun is a range first ≤ j < end over which the function is constant.
type stepRun struct {
	first, end int
	value      float64
}

// exceeding returns how many of the numbers are larger than j. The numbers are at least zero.
func exceeding(numbers []int) steps {
	sorted := slices.Sorted(slices.Values(numbers))
	var s steps
	first := 0
	for i, n := range sorted {
		if n > first {
			s = append(s, stepRun{first, n, float64(len(sorted) - i)})
			first = n
		}
	}
	return s
}

// rising returns Σ_j s(j)·ln(from + j·θ), the logarithm of a product of rising factorials.
func (s steps) rising(from, theta float64) float64 {
	sum := 0.0
	if theta == 0 {
		for _, r := range s {
			sum += r.value * float64(r.end-r.first)
		}
		if sum == 0 {
			return 0
		}
		return sum * math.Log(from)
	}
	for _, r := range s {
		sum += r.value * sumLogs(from+float64(r.first)*theta, theta, r.end-r.first)
	}
	return sum
}

// direct is the number of terms from zero that sumLogs adds up one by one. Beyond it the first omitted term of the series,
// θ⁷/(u+jθ)⁷·720/1209600, is below 2e-14.
const direct = 32

// sumLogs returns Σ_{j<n} ln(u + j·θ) for u and θ above zero.
//
// ref: the Euler–Maclaurin formula, Abramowitz & Stegun (1964), 23.1.30.
func sumLogs(u, theta float64, n int) float64 {
	sum, j := 0.0, 0
	for ; j < n && (n-j < direct || u+float64(j)*theta < direct*theta); j++ {
		sum += math.Log(u + float64(j)*theta)
	}
	if j == n {
		return sum
	}
	m, end := float64(n-j), u+float64(n)*theta
	u += float64(j) * theta
	y := m * theta / u
	// The integral, written so that nothing cancels where θ is small.
	sum += m*math.Log(u) + m/y*((1+y)*math.Log1p(y)-y)
	sum -= math.Log1p(y) / 2
	a, b := theta/u, theta/end
	sum += (b-a)/12 - (b*b*b-a*a*a)*2/720 + (math.Pow(b, 5)-math.Pow(a, 5))*24/30240
	return sum
}
