package stats_test

import (
	"math"
	"math/big"
	"testing"

	"heardiff/stats"
)

// exactTails returns P(X ≥ k) for every k of n at p₀ = 1/den, as integers over denⁿ, without rounding.
func exactTails(n, den int) (tails []*big.Int, whole *big.Int) {
	tails = make([]*big.Int, n+1)
	sum := new(big.Int)
	for k := n; k >= 0; k-- {
		term := new(big.Int).Binomial(int64(n), int64(k))
		term.Mul(term, new(big.Int).Exp(big.NewInt(int64(den-1)), big.NewInt(int64(n-k)), nil))
		sum.Add(sum, term)
		tails[k] = new(big.Int).Set(sum)
	}
	return tails, new(big.Int).Exp(big.NewInt(int64(den)), big.NewInt(int64(n)), nil)
}

// ratio returns a/b as mantissa and power of two, also where it is far below the range of a float64.
func lnRatio(a, b *big.Int) float64 {
	q := new(big.Float).SetPrec(200).Quo(new(big.Float).SetInt(a), new(big.Float).SetInt(b))
	mantissa := new(big.Float)
	exponent := q.MantExp(mantissa)
	m, _ := mantissa.Float64()
	return math.Log(m) + float64(exponent)*math.Ln2
}

// Tails against integer arithmetic: the relative error of p is the absolute error of ln p.
func TestTailsAgreeWithWholeNumbers(t *testing.T) {
	worst := 0.0
	for _, n := range []int{1, 2, 16, 100, 517, 2000} {
		for _, den := range []int{2, 3} {
			tails, whole := exactTails(n, den)
			for k := 0; k <= n; k += 1 + n/97 {
				want := lnRatio(tails[k], whole)
				if want < -300*math.Ln10 {
					break
				}
				b, err := stats.BinomialTest(k, n, 1/float64(den))
				if err != nil {
					t.Fatal(err)
				}
				off := math.Abs(b.Log10P*math.Ln10 - want)
				if worst = math.Max(worst, off); off > 1e-9 {
					t.Errorf("%d of %d at 1/%d: ln p %v, whole numbers %v", k, n, den, b.Log10P*math.Ln10, want)
				}
				if off := math.Abs(b.P/math.Exp(want) - 1); off > 1e-9 {
					t.Errorf("%d of %d at 1/%d: p off by a part in %v", k, n, den, 1/off)
				}
			}
		}
	}
	t.Logf("largest relative error of p: %.1e", worst)
}

func TestCriticalCountsAgreeWithWholeNumbers(t *testing.T) {
	for _, n := range []int{1, 4, 5, 16, 40, 100, 333, 1000, 2000} {
		for _, den := range []int{2, 3} {
			tails, whole := exactTails(n, den)
			for _, alpha := range []*big.Rat{big.NewRat(1, 20), big.NewRat(1, 100), big.NewRat(1, 1000), big.NewRat(1, 32)} {
				want := -1
				for k := n; k >= 0; k-- {
					if new(big.Rat).SetFrac(tails[k], whole).Cmp(alpha) > 0 {
						break
					}
					want = k
				}
				a, _ := alpha.Float64()
				got, _, ok := stats.CriticalCount(n, 1/float64(den), a)
				if ok != (want >= 0) || ok && got != want {
					t.Errorf("n %d, 1/%d, alpha %v: %d (%v), whole numbers %d", n, den, alpha, got, ok, want)
				}
			}
		}
	}
}
