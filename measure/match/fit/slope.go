package fit

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// leastBlocks is how many blocks a slope is fitted to at the least.
const leastBlocks = 10

// Stated is the number of standard errors that must hold the truth as often as with a normal distribution: in 95.4 of 100.
const Stated = 2

// StudentFactor returns the factor by which a standard error known from so many degrees of freedom must be larger, so that so many errors
// hold the truth as often as with a normal distribution.
// ref: R. M. Bell, D. F. McCaffrey, Survey Methodology 28, 2002, for degrees of freedom by Satterthwaite's rule (from memory).
func StudentFactor(deciding, errors float64) float64 {
	t := distuv.StudentsT{Sigma: 1, Nu: deciding}
	return t.Quantile(distuv.UnitNormal.CDF(errors)) / errors
}

// Slope returns the slope of the second value of each pair on the first, by least squares, and its standard error, which
// allows that blocks scatter by different amounts and that a few loud ones decide; how many is returned as well. Steady
// noise in either leaves the slope as it is.
// ref: J. G. MacKinnon, H. White, Journal of Econometrics 29, 1985, the form HC3 (from memory).
func Slope(pairs [][2]float64) (ratio, error, deciding float64) {
	if len(pairs) < leastBlocks {
		return math.NaN(), math.NaN(), 0
	}
	line := New()
	for _, p := range pairs {
		line.Add(p[0], p[1], 1)
	}
	base, ratio := line.Solve()
	middle, spread := spreadOf(pairs)
	if !(spread > 0) {
		return math.NaN(), math.NaN(), 0
	}
	sum, fourth := 0.0, 0.0
	for _, p := range pairs {
		d := p[0] - middle
		fourth += d * d * d * d
		leverage := 1/float64(len(pairs)) + d*d/spread
		miss := d * (p[1] - base - ratio*p[0]) / max(1e-9, 1-leverage)
		sum += miss * miss
	}
	deciding = spread * spread / fourth
	return ratio, math.Sqrt(sum) / spread, deciding
}

// spreadOf returns the mean of the first values and the sum of their squared deviations from it.
func spreadOf(pairs [][2]float64) (mean, sum float64) {
	for _, p := range pairs {
		mean += p[0] / float64(len(pairs))
	}
	for _, p := range pairs {
		sum += (p[0] - mean) * (p[0] - mean)
	}
	return mean, sum
}

// Dilution returns the share by which chance in A's own noise lowers a slope at the most: a block of m independent bins with mean
// power a, of which a share is noise, scatters by up to a·√(2·share/m) from what is common.
func Dilution(pairs [][2]float64, share, m float64) float64 {
	mean, spread := spreadOf(pairs)
	return 2 * share * float64(len(pairs)) * mean * mean / (m * spread)
}
