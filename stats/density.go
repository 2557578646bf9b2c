package stats

import "math"

// fiveTermsFrom is the n from which the five terms reach double precision: the first that is left out is 691/(360,360·n¹¹)
// (Abramowitz & Stegun 6.1.41), 2·10⁻¹⁶ at 15.
const fiveTermsFrom = 15

// stirlingError returns ln Γ(n+1) − [(n + 1/2)·ln n − n + ln √(2π)] for n > 0: the error of Stirling's formula.
//
// ref: C. Loader (2000), Fast and accurate computation of binomial probabilities; Abramowitz & Stegun 6.1.41.
func stirlingError(n float64) float64 {
	// δ(n) = δ(n+1) + (n + 1/2)·ln(1 + 1/n) − 1 climbs to where five terms of the series reach double precision.
	climbed := 0.0
	for n < fiveTermsFrom {
		climbed += (n+0.5)*math.Log1p(1/n) - 1
		n++
	}
	s := 1 / (n * n)
	return climbed + (1.0/12-(1.0/360-(1.0/1260-(1.0/1680-s/1188)*s)*s)*s)/n
}

// nearMean is the distance of x and m, relative to x + m, below which the series is used (Loader 2000, bd0).
const nearMean = 0.1

// deviance returns x·ln(x/m) + m − x for x, m > 0 without the cancellation where x is near m.
//
// ref: C. Loader (2000), function bd0.
func deviance(x, m float64) float64 {
	if !(math.Abs(x-m) < nearMean*(x+m)) { // true for NaN as well, for which the series below would never end
		return x*math.Log(x/m) + m - x
	}
	v := (x - m) / (x + m)
	sum, term := (x-m)*v, 2*x*v
	v *= v
	for j := 3.0; ; j += 2 {
		term *= v
		next := sum + term/j
		if next == sum {
			return sum
		}
		sum = next
	}
}

// lnBinomial returns ln[ Γ(a+b+1)/(Γ(a+1)Γ(b+1)) · x^a·y^b ] for a, b ≥ 0 and x + y = 1: the logarithm of the
// binomial probability of a successes and b failures, for real a and b too.
//
// ref: C. Loader (2000), the saddle-point form.
func lnBinomial(a, b, x, y float64) float64 {
	n := a + b
	switch {
	case a == 0:
		return b * lnOf(y, x)
	case b == 0:
		return a * lnOf(x, y)
	case x == 0 || y == 0:
		return math.Inf(-1)
	}
	core := stirlingError(n) - stirlingError(a) - stirlingError(b) - deviance(a, n*x) - deviance(b, n*y)
	return core - 0.5*(math.Log(2*math.Pi)+math.Log(a)+math.Log(b/n))
}

// lnOf returns ln x, through the complement y = 1 − x where that is the more accurate.
func lnOf(x, y float64) float64 {
	if y < 0.5 {
		return math.Log1p(-y)
	}
	return math.Log(x)
}

// ln1mExp returns ln(1 − e^l) for l ≤ 0.
func ln1mExp(l float64) float64 {
	if l > -math.Ln2 {
		return math.Log(-math.Expm1(l))
	}
	return math.Log1p(-math.Exp(l))
}

// lnAdd returns ln(e^a + e^b).
func lnAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if math.IsInf(a, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// log10Of turns a natural logarithm into a decimal one.
func log10Of(ln float64) float64 { return ln / math.Ln10 }
