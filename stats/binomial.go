package stats

import (
	"fmt"
	"math"
)

// MaxTrials is the largest number of trials a plan may ask for.
const MaxTrials = 1_000_000

// MaxCount is the largest number of trials that is scored: tails keep their precision up to it, and sums of counts
// cannot overflow.
const MaxCount = 1<<31 - 1

// lnBinomialUpper returns ln P(X ≥ k) for X binomial of n trials at p.
func lnBinomialUpper(k, n int, p float64) float64 {
	switch {
	case k <= 0:
		return 0
	case k > n:
		return math.Inf(-1)
	}
	lower, _ := lnBetaTails(float64(k), float64(n-k+1), p, 1-p)
	return lower
}

// lnBinomialLower returns ln P(X ≤ k).
func lnBinomialLower(k, n int, p float64) float64 {
	switch {
	case k < 0:
		return math.Inf(-1)
	case k >= n:
		return 0
	}
	_, upper := lnBetaTails(float64(k+1), float64(n-k), p, 1-p)
	return upper
}

// lnBinomialPoint returns ln P(X = k).
func lnBinomialPoint(k, n int, p float64) float64 {
	if k < 0 || k > n {
		return math.Inf(-1)
	}
	return lnBinomial(float64(k), float64(n-k), p, 1-p)
}

// Binomial holds the exact probabilities of k of n at chance p₀.
type Binomial struct {
	P, Log10P       float64 // P(X ≥ k), the one-sided p
	Below, Log10Low float64 // P(X ≤ k): small where the listener is reliably wrong
	MidP, Log10MidP float64 // P(X > k) + P(X = k)/2
	TwoSided        float64 // the probability of all counts no likelier than k, for p₀ = 1/2 twice the smaller tail
	Log10TwoSided   float64

	lnMid, lnMidBelow float64
}

// BinomialTest returns the exact probabilities of k correct of n at chance p₀, 0 < p₀ < 1. It is an error if the
// counts are negative, k exceeds n, or there are no trials.
//
// ref: the two-sided p sums P(x) ≤ P(k)·(1 + 1e-7), the convention of R's binom.test.
func BinomialTest(k, n int, p0 float64) (Binomial, error) {
	if err := checkCounts(k, n); err != nil {
		return Binomial{}, err
	}
	if !(p0 > 0 && p0 < 1) {
		return Binomial{}, fmt.Errorf("stats: chance %v is not inside (0, 1)", p0)
	}
	up, down, point := lnBinomialUpper(k, n, p0), lnBinomialLower(k, n, p0), lnBinomialPoint(k, n, p0)
	half := point - math.Ln2
	mid, midBelow := lnAdd(lnBinomialUpper(k+1, n, p0), half), lnAdd(lnBinomialLower(k-1, n, p0), half)
	two := lnTwoSided(k, n, p0)
	return Binomial{
		P: math.Exp(up), Log10P: log10Of(up),
		Below: math.Exp(down), Log10Low: log10Of(down),
		MidP: math.Exp(mid), Log10MidP: log10Of(mid),
		TwoSided: math.Exp(two), Log10TwoSided: log10Of(two),
		lnMid: mid, lnMidBelow: midBelow,
	}, nil
}

func checkCounts(k, n int) error {
	switch {
	case n < 1:
		return fmt.Errorf("stats: %d trials: at least one is needed", n)
	case n > MaxCount:
		return fmt.Errorf("stats: %d trials: at most %d are scored", n, MaxCount)
	case k < 0:
		return fmt.Errorf("stats: %d correct: a count cannot be negative", k)
	case k > n:
		return fmt.Errorf("stats: %d correct of %d trials: more correct than trials", k, n)
	}
	return nil
}

// lnTwoSided adds the counts of the opposite tail that are no likelier than k to the tail that contains k.
func lnTwoSided(k, n int, p0 float64) float64 {
	mean := float64(n) * p0
	limit := lnBinomialPoint(k, n, p0) + 1e-7
	if float64(k) == mean {
		return 0
	}
	if float64(k) > mean {
		low := lastWhere(0, int(math.Floor(mean)), func(i int) bool { return lnBinomialPoint(i, n, p0) <= limit })
		return math.Min(0, lnAdd(lnBinomialUpper(k, n, p0), lnBinomialLower(low, n, p0)))
	}
	high := n + 1 - firstCount(0, n+1-int(math.Ceil(mean)), func(j int) bool { return lnBinomialPoint(n+1-j, n, p0) > limit })
	return math.Min(0, lnAdd(lnBinomialLower(k, n, p0), lnBinomialUpper(high+1, n, p0)))
}

// lastWhere returns the largest i in [lo, hi] for which ok holds, where ok is true up to some point; lo − 1 if none.
func lastWhere(lo, hi int, ok func(int) bool) int {
	return firstCount(lo, hi, func(i int) bool { return !ok(i) }) - 1
}

// firstCount returns the smallest i in [lo, hi] for which ok holds, where ok is true from some point on; hi + 1 if none.
func firstCount(lo, hi int, ok func(int) bool) int {
	for lo <= hi {
		mid := lo + (hi-lo)/2
		if ok(mid) {
			hi = mid - 1
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// reachSlack is the relative excess over α at which a tail still counts as reaching it: α is written in decimals
// (0.05, 0.037037), and a tail that equals it exactly must not be lost to rounding. It is a hundred times the largest
// error of a tail seen at 100,000 trials.
const reachSlack = 1e-11

// CriticalCount returns the smallest k with P(X ≥ k) ≤ α in n trials at chance p₀, and the attained size; ok is
// false where even n of n is likelier than α.
func CriticalCount(n int, p0, alpha float64) (k int, size float64, ok bool) {
	limit := math.Log(alpha) + reachSlack
	guess := float64(n)*p0 + normalUpperPoint(math.Log(alpha))*math.Sqrt(float64(n)*p0*(1-p0))
	k = min(max(int(guess), 0), n)
	reached := func(k int) bool { return lnBinomialUpper(k, n, p0) <= limit }
	if reached(k) {
		for k > 0 && reached(k-1) {
			k--
		}
	} else {
		for k <= n && !reached(k) {
			k++
		}
	}
	if k > n {
		return 0, 0, false
	}
	return k, math.Exp(lnBinomialUpper(k, n, p0)), true
}

// LargestRulingOut returns the largest k that rules out p_d ≥ pd at risk α in n trials at chance p₀: the largest
// k with P(X ≤ k) ≤ α at p = p₀ + (1 − p₀)·pd; ok is false where not even 0 of n does.
//
// ref: the exact counterpart of the similarity tables of ISO 4120 and ISO 10399.
func LargestRulingOut(n int, p0, pd, alpha float64) (k int, ok bool) {
	p := p0 + (1-p0)*pd
	limit := math.Log(alpha) + reachSlack
	k = lastWhere(0, n, func(k int) bool { return lnBinomialLower(k, n, p) <= limit })
	return k, k >= 0
}
