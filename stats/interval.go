package stats

import "math"

// Intervals of one proportion, two-sided with equal tails; each is [lower, upper].
type Intervals struct {
	ClopperPearson [2]float64 // exact: covers p at least as often as stated
	Wilson         [2]float64 // score interval: right on average, too short at some p
	Jeffreys       [2]float64 // modified: from 0 at k = 0 and to 1 at k = n
	MidP           [2]float64 // exact with half the weight on k itself
	Likelihood     [2]float64 // where the likelihood has fallen by half the χ²₁ quantile
}

// ProportionIntervals returns the intervals of p after k of n, at the given confidence inside (0, 1).
//
// ref: Clopper & Pearson (1934); Wilson (1927); Brown, Cai & DasGupta (2001); Newcombe (1998).
func ProportionIntervals(k, n int, confidence float64) (Intervals, error) {
	if err := checkCounts(k, n); err != nil {
		return Intervals{}, err
	}
	if err := checkFraction("confidence", confidence); err != nil {
		return Intervals{}, err
	}
	tail := (1 - confidence) / 2
	return Intervals{
		ClopperPearson: [2]float64{clopperLower(k, n, tail), 1 - clopperLower(n-k, n, tail)},
		Wilson:         wilson(k, n, tail),
		Jeffreys:       [2]float64{jeffreysLower(k, n, tail), 1 - jeffreysLower(n-k, n, tail)},
		MidP:           [2]float64{midPLower(k, n, tail), 1 - midPLower(n-k, n, tail)},
		Likelihood:     [2]float64{likelihoodLower(k, n, tail), 1 - likelihoodLower(n-k, n, tail)},
	}, nil
}

// UpperProportion returns the exact one-sided upper limit of p after k of n: the p at which P(X ≤ k) = 1 − confidence.
func UpperProportion(k, n int, confidence float64) float64 {
	return 1 - clopperLower(n-k, n, 1-confidence)
}

// LowerProportion returns the exact one-sided lower limit of p after k of n.
func LowerProportion(k, n int, confidence float64) float64 {
	return clopperLower(k, n, 1-confidence)
}

func clopperLower(k, n int, tail float64) float64 {
	if k == 0 {
		return 0
	}
	return betaLowerPoint(float64(k), float64(n-k+1), math.Log(tail))
}

func jeffreysLower(k, n int, tail float64) float64 {
	if k == 0 {
		return 0
	}
	return betaLowerPoint(float64(k)+0.5, float64(n-k)+0.5, math.Log(tail))
}

// betaLowerPoint returns the x with ln I_x(a,b) = ln, by Newton steps on the log-odds of x.
func betaLowerPoint(a, b, ln float64) float64 {
	scale := math.Log(a) - math.Log(a+b) + math.Log(b)
	f := func(t float64) (value, slope float64) {
		x, y := fromLogit(t)
		lower, _ := lnBetaTails(a, b, x, y)
		return lower - ln, math.Exp(lnBinomial(a, b, x, y) + scale - lower)
	}
	start := math.Log(a/b) + ln/math.Sqrt(a*b/(a+b))*0.5
	x, _ := fromLogit(newtonRising(f, -745, 745, start))
	return x
}

// fromLogit returns x = 1/(1 + e^−t) and 1 − x.
func fromLogit(t float64) (x, y float64) {
	return 1 / (1 + math.Exp(-t)), 1 / (1 + math.Exp(t))
}

// midPLower solves P(X > k) + P(X = k)/2 = tail for p.
func midPLower(k, n int, tail float64) float64 {
	if k == 0 {
		return 0
	}
	ln := math.Log(tail)
	f := func(t float64) (value, slope float64) {
		p, q := fromLogit(t)
		point := lnBinomial(float64(k), float64(n-k), p, q)
		mid := point - math.Ln2
		if k < n {
			above, _ := lnBetaTails(float64(k+1), float64(n-k), p, q)
			mid = lnAdd(mid, above)
		}
		return mid - ln, 0.5 * (float64(k)*q + float64(n-k)*p) * math.Exp(point-mid)
	}
	t := math.Log((float64(k) + 0.5) / (float64(n-k) + 0.5))
	p, _ := fromLogit(newtonRising(f, -745, 745, t-0.5))
	return p
}

// wilson returns the roots of (1 + z²/n)·p² − (2·p̂ + z²/n)·p + p̂² = 0, each formed without cancellation.
func wilson(k, n int, tail float64) [2]float64 {
	upper := func(k int) float64 {
		z2 := math.Pow(normalUpperPoint(math.Log(tail)), 2) / float64(n)
		p := float64(k) / float64(n)
		q := float64(n-k) / float64(n)
		return (p + z2/2 + math.Sqrt(z2*(p*q+z2/4))) / (1 + z2)
	}
	lower := func(k int) float64 {
		z2 := math.Pow(normalUpperPoint(math.Log(tail)), 2) / float64(n)
		p := float64(k) / float64(n)
		return p * p / ((1 + z2) * upper(k))
	}
	if k == n {
		return [2]float64{lower(k), 1}
	}
	return [2]float64{lower(k), upper(k)}
}
