package stats

import "math"

// TailAccuracy is the relative accuracy of tails, see Exactness in the package comment: a tail that near to a level counts as reaching it.
const TailAccuracy = 1e-9

// tiny keeps the modified Lentz recurrence away from zero; any value far below one and far above underflow will do.
const tiny = 1e-280

// lentzSteps bounds a continued fraction. The incomplete beta function needs about √max(a,b) steps, 1,100 at a
// million trials; the arguments that this package forms never reach the bound.
const lentzSteps = 200_000

// lentzDone and seriesDone are the relative changes below which a continued fraction and a series have converged: less than a double resolves.
const lentzDone, seriesDone = 1e-16, 1e-17

// lnBetaTails returns the logarithms of I_x(a,b) and of 1 − I_x(a,b), the regularized incomplete beta function,
// for a, b > 0 and y = 1 − x. The smaller of the two is computed directly, so that neither tail loses precision.
//
// ref: NIST DLMF 8.17.22 (the continued fraction).
func lnBetaTails(a, b, x, y float64) (lower, upper float64) {
	switch {
	case x <= 0:
		return math.Inf(-1), 0
	case y <= 0:
		return 0, math.Inf(-1)
	case x > (a+1)/(a+b+2):
		upper = lnBetaFraction(b, a, y, x)
		return ln1mExp(upper), upper
	}
	lower = lnBetaFraction(a, b, x, y)
	return lower, ln1mExp(lower)
}

// lnBetaFraction returns ln I_x(a,b) where x is at or below the mean.
func lnBetaFraction(a, b, x, y float64) float64 {
	c, d := 1.0, 1/nonzero(1-(a+b)*x/(a+1))
	h := d
	for m := 1.0; m < lentzSteps; m++ {
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		d, c = 1/nonzero(1+even*d), nonzero(1+even/c)
		h *= d * c
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d, c = 1/nonzero(1+odd*d), nonzero(1+odd/c)
		h *= d * c
		if math.Abs(d*c-1) < lentzDone {
			break
		}
	}
	return math.Min(0, lnBinomial(a, b, x, y)+math.Log(b/(a+b))+math.Log(h))
}

func nonzero(v float64) float64 {
	if math.Abs(v) < tiny {
		return tiny
	}
	return v
}

// lnGammaTails returns the logarithms of P(a,x) and Q(a,x), the regularized incomplete gamma functions, a > 0.
//
// ref: NIST DLMF 8.7.1 (series) and 8.9.2 (continued fraction).
func lnGammaTails(a, x float64) (lower, upper float64) {
	if x <= 0 {
		return math.Inf(-1), 0
	}
	front := -stirlingError(a) - deviance(a, x) - 0.5*math.Log(2*math.Pi*a) // ln x^a·e^−x/Γ(a+1)
	if x < a+1 {
		sum, term := 1.0, 1.0
		for j := 1.0; term > seriesDone*sum; j++ {
			term *= x / (a + j)
			sum += term
		}
		lower = math.Min(0, front+math.Log(sum))
		return lower, ln1mExp(lower)
	}
	b := x + 1 - a
	c, d := 1/tiny, 1/b
	h := d
	for i := 1.0; i < lentzSteps; i++ {
		an := -i * (i - a)
		b += 2
		d, c = 1/nonzero(an*d+b), nonzero(b+an/c)
		h *= d * c
		if math.Abs(d*c-1) < lentzDone {
			break
		}
	}
	upper = math.Min(0, front+math.Log(a)+math.Log(h))
	return ln1mExp(upper), upper
}

// lnChiSquareUpper returns ln P(χ² ≥ x) for df degrees of freedom, NaN for df < 1.
func lnChiSquareUpper(x float64, df int) float64 {
	if df < 1 {
		return math.NaN()
	}
	_, upper := lnGammaTails(float64(df)/2, x/2)
	return upper
}

// erfcTo is the z up to which a normal tail is computed with Erfc, which underflows beyond 38.
const erfcTo = 30

// lnNormalUpper returns ln P(Z ≥ z) of the standard normal distribution.
func lnNormalUpper(z float64) float64 {
	switch {
	case z < 0:
		return math.Log1p(-0.5 * math.Erfc(-z/math.Sqrt2))
	case z < erfcTo:
		return math.Log(0.5 * math.Erfc(z/math.Sqrt2))
	}
	// Q(1/2, z²/2) is twice the tail.
	_, upper := lnGammaTails(0.5, z*z/2)
	return upper - math.Ln2
}

// normalCDF returns Φ(z).
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// normalUpperPoint returns the z with ln P(Z ≥ z) = ln, for ln ≤ 0, by Newton's method on the concave logarithm.
func normalUpperPoint(ln float64) float64 {
	switch {
	case math.IsNaN(ln):
		return ln
	case ln >= 0:
		return math.Inf(-1)
	case math.IsInf(ln, -1):
		return math.Inf(1)
	case ln > -math.Ln2:
		return -normalUpperPoint(ln1mExp(ln))
	}
	z := math.Sqrt(-2 * (ln + math.Ln2))
	for range 50 {
		tail := lnNormalUpper(z)
		hazard := math.Exp(-z*z/2 - 0.5*math.Log(2*math.Pi) - tail)
		step := (tail - ln) / hazard
		z += step
		if math.Abs(step) <= newtonDone*(1+math.Abs(z)) {
			break
		}
	}
	return z
}

// normalQuantile returns Φ⁻¹(p).
func normalQuantile(p float64) float64 {
	if p < 0.5 {
		return -normalUpperPoint(math.Log(p))
	}
	return normalUpperPoint(math.Log1p(-p))
}

// lnStudentUpper returns ln P(T ≥ t) of Student's distribution with df > 0 degrees of freedom, fractional allowed.
func lnStudentUpper(t, df float64) float64 {
	x := df / (df + t*t)
	lower, upper := lnBetaTails(df/2, 0.5, x, t*t/(df+t*t))
	if t >= 0 {
		return lower - math.Ln2
	}
	return lnAdd(upper, lower-math.Ln2)
}

// studentUpperPoint returns the t with P(T ≥ t) = tail, for 0 < tail < 1/2.
func studentUpperPoint(tail, df float64) float64 {
	f := func(u float64) float64 { return lnStudentUpper(math.Sinh(u), df) - math.Log(tail) }
	return math.Sinh(rootBetween(f, 0, 400))
}
