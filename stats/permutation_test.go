package stats_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/stats"
)

func dealtBy(answers []bool, deal func(i int) bool) stats.Pairs {
	var c stats.Pairs
	for i, said := range answers {
		switch different := deal(i); {
		case different && said:
			c.Hits++
		case different:
			c.Misses++
		case said:
			c.FalseAlarms++
		default:
			c.CorrectRejections++
		}
	}
	return c
}

func rates(c stats.Pairs) float64 {
	nd, ns := c.Hits+c.Misses, c.FalseAlarms+c.CorrectRejections
	if nd == 0 || ns == 0 {
		return 0
	}
	return float64(c.Hits)/float64(nd) - float64(c.FalseAlarms)/float64(ns)
}

// All 2ⁿ deals enumerated, and all deals with the same number of different pairs.
func TestPermutationCountsEveryDeal(t *testing.T) {
	for _, c := range []struct{ answers, deal string }{
		{"110100110100", "110101110100"}, {"111111111000", "111101011010"}, {"0101", "1010"}, {"000000001", "000000011"},
		{"1111100000", "1111100000"}, {"1100101001", "0011010110"},
	} {
		answers, truth := outcomes(c.answers), outcomes(c.deal)
		found := dealtBy(answers, func(i int) bool { return truth[i] })
		kinds := found.Hits + found.Misses
		var coin, two, balanced, balancedAll float64
		for deal := range 1 << len(answers) {
			other := dealtBy(answers, func(i int) bool { return deal>>i&1 == 1 })
			if rates(other) >= rates(found)-1e-12 {
				coin++
			}
			if math.Abs(rates(other)) >= math.Abs(rates(found))-1e-12 {
				two++
			}
			if other.Hits+other.Misses == kinds {
				balancedAll++
				if other.Hits >= found.Hits {
					balanced++
				}
			}
		}
		all := float64(int(1) << len(answers))
		r, err := stats.PermutePairs(found)
		must(t, err)
		if !near(r.PCoin, coin/all, 1e-11) || !near(r.PCoinTwoSided, two/all, 1e-11) || !near(r.PBalanced, balanced/balancedAll, 1e-11) ||
			math.Abs(r.Log10PCoin-math.Log10(coin/all)) > 1e-11 {
			t.Errorf("%s on %s: %+v; counted %v, %v, %v", c.answers, c.deal, r, coin/all, two/all, balanced/balancedAll)
		}
	}
}

// For a larger session, a random sample of the deals: within 4.4 standard errors.
func TestPermutationAgreesWithDrawnDeals(t *testing.T) {
	random := rand.New(rand.NewPCG(10, 10))
	const draws = 100_000
	found := stats.Pairs{Hits: 20, Misses: 8, FalseAlarms: 13, CorrectRejections: 17}
	answers := make([]bool, 58)
	for i := range answers {
		answers[i] = i < found.Hits+found.FalseAlarms
	}
	reached := 0.0
	for range draws {
		if rates(dealtBy(answers, func(int) bool { return random.IntN(2) == 1 })) >= rates(found)-1e-12 {
			reached++
		}
	}
	r, err := stats.PermutePairs(found)
	must(t, err)
	if se := math.Sqrt(r.PCoin * (1 - r.PCoin) / draws); math.Abs(reached/draws-r.PCoin) > 4.4*se {
		t.Errorf("p %v, drawn %v ± %v", r.PCoin, reached/draws, se)
	}
}

// A listener who says 'different' to nearly everything, where most pairs are different, is right most of the time without
// hearing anything: percent correct is significant, Fisher's test and the permutation test are not.
func TestTrapPercentCorrectFlattersABiasedListener(t *testing.T) {
	for _, c := range []stats.Pairs{
		{Hits: 36, Misses: 4, FalseAlarms: 9, CorrectRejections: 1}, // 36 + 1 of 50
		{Hits: 1, Misses: 9, FalseAlarms: 4, CorrectRejections: 36}, // says 'same', most are the same
		{Hits: 70, Misses: 10, FalseAlarms: 17, CorrectRejections: 3},
	} {
		s, err := stats.ScorePairs(c, stats.ScoreConfig{})
		must(t, err)
		naive, err := stats.ScoreABX(s.Correct, s.Trials, stats.ScoreConfig{})
		must(t, err)
		if !(naive.P < 0.001) {
			t.Errorf("%+v: percent correct is not significant here (p %v)", c, naive.P)
		}
		if s.Reached || s.P < 0.3 || s.Permutation.PCoin < 0.3 || math.Abs(s.BalancedCorrect-0.5) > 0.04 {
			t.Errorf("%+v: Fisher %v, new deals %v, balanced %v", c, s.P, s.Permutation.PCoin, s.BalancedCorrect)
		}
		if !s.Warned(stats.UnequalPairs) {
			t.Errorf("%+v: no warning: %q", c, s.Texts)
		}
	}
}

// Four right answers: of the 2⁴ deals only this one makes the rates 1 apart, and one of the C(4, 2) = 6 with two of each
// kind.
func ExamplePermutePairs() {
	r, err := stats.PermutePairs(stats.Pairs{Hits: 2, CorrectRejections: 2})
	fmt.Printf("%.4f = 1/16, %.4f = 1/6, %v\n", r.PCoin, r.PBalanced, err)
	// Output: 0.0625 = 1/16, 0.1667 = 1/6, <nil>
}

func BenchmarkPermutePairs(b *testing.B) {
	for _, n := range []int{10, 1000, 100_000} {
		b.Run(fmt.Sprint(4*n), func(b *testing.B) {
			for range b.N {
				if _, err := stats.PermutePairs(stats.Pairs{Hits: n + n/100, Misses: n, FalseAlarms: n, CorrectRejections: n}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
