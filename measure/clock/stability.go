package clock

import "math"

// AllanDeviation returns the overlapping Allan deviation of the time errors x, in seconds, taken every interval seconds, for an
// observation time of n intervals:
//
//	σ²(nτ₀) = 1/(2·(nτ₀)²·(N−2n)) · Σ (x[i+2n] − 2·x[i+n] + x[i])²,  i = 0 … N−2n−1
//
// It is a ratio of frequencies. A constant offset of time or frequency does not change it. It is NaN where N ≤ 2n or n < 1.
//
// ref: ITU-T G.810 (08/1996), Appendix II, ADEV; W. J. Riley, "Handbook of Frequency Stability Analysis", NIST SP 1065, 2008,
// section 5.2.4 (formulas from memory, proved on the handbook's own test data).
func AllanDeviation(x []float64, interval float64, n int) float64 {
	count := len(x) - 2*n
	if n < 1 || count < 1 {
		return math.NaN()
	}
	sum := 0.0
	for i := range count {
		d := x[i+2*n] - 2*x[i+n] + x[i]
		sum += d * d
	}
	tau := float64(n) * interval
	return math.Sqrt(sum/(2*float64(count))) / tau
}

// TimeDeviation returns TDEV, in seconds, of the time errors x, in seconds, for an observation time of n sampling intervals:
//
//	TDEV²(nτ₀) = 1/(6n²·(N−3n+1)) · Σ_j [ Σ_i (x[i+2n] − 2·x[i+n] + x[i]) ]²,  j = 0 … N−3n, i = j … j+n−1
//
// A constant offset of time or frequency does not change it. It is NaN where N < 3n or n < 1.
//
// ref: ITU-T G.810 (08/1996), Appendix II, TDEV; NIST SP 1065, section 5.2.6 (formulas from memory, proved on the handbook's
// own test data).
func TimeDeviation(x []float64, n int) float64 {
	count := len(x) - 3*n + 1
	if n < 1 || count < 1 {
		return math.NaN()
	}
	second := func(i int) float64 { return x[i+2*n] - 2*x[i+n] + x[i] }
	inner := 0.0
	for i := range n {
		inner += second(i)
	}
	sum := inner * inner
	for j := 1; j < count; j++ {
		inner += second(j+n-1) - second(j-1)
		sum += inner * inner
	}
	return math.Sqrt(sum/(6*float64(count))) / float64(n)
}

// MaximumTimeInterval returns MTIE, in the unit of x, for an observation time of n sampling intervals: the largest difference
// between two time errors that lie within any window of n+1 samples. A constant offset of frequency counts in full. It is NaN
// where N ≤ n or n < 1. The work grows with N alone.
//
// ref: ITU-T G.810 (08/1996), Appendix II, MTIE (formula from memory).
func MaximumTimeInterval(x []float64, n int) float64 {
	if n < 1 || len(x) <= n {
		return math.NaN()
	}
	var highest, lowest extremes
	most := 0.0
	for i, v := range x {
		highest.push(i, v)
		lowest.push(i, -v)
		if i < n {
			continue
		}
		most = max(most, highest.in(i-n)+lowest.in(i-n))
	}
	return most
}

// extremes keeps the places of a sliding window that may yet hold its largest value, in falling order of value.
type extremes struct {
	place []int
	value []float64
}

func (e *extremes) push(place int, value float64) {
	n := len(e.value)
	for n > 0 && e.value[n-1] <= value {
		n--
	}
	e.place, e.value = append(e.place[:n], place), append(e.value[:n], value)
}

// in returns the largest value pushed at or after a place, which must not decrease from call to call.
func (e *extremes) in(from int) float64 {
	for e.place[0] < from {
		e.place, e.value = e.place[1:], e.value[1:]
	}
	return e.value[0]
}

// allanFreedom returns the equivalent degrees of freedom of an overlapping Allan deviation of N time errors at n intervals, under
// white noise of frequency, which a free-running oscillator shows at such intervals:
//
//	(3(N−1)/2n − 2(N−2)/N) · 4n²/(4n²+5)
//
// ref: NIST SP 1065, table 5 (from memory, held against simulation).
func allanFreedom(count, n int) float64 {
	N, m := float64(count), float64(n)
	return max(1, (3*(N-1)/(2*m)-2*(N-2)/N)*4*m*m/(4*m*m+5))
}
