package stats_test

import (
	"fmt"

	"heardiff/stats"
)

// Twelve of sixteen by hand: (1820 + 560 + 120 + 16 + 1) / 2¹⁶ = 2517/65536.
func ExampleScoreABX() {
	s, err := stats.ScoreABX(12, 16, stats.ScoreConfig{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("p = %.4f, critical count %d, 95 %% interval %.3f to %.3f\n", s.P, *s.Critical, s.ClopperPearson[0], s.ClopperPearson[1])
	// Output: p = 0.0384, critical count 12, 95 % interval 0.476 to 0.927
}

// Of five trials all must be right: 1/2⁵ = 0.03125 is the first power of one half below 0.05.
func ExampleCriticalCount() {
	k, size, ok := stats.CriticalCount(5, 0.5, 0.05)
	fmt.Printf("%d %.5f %v\n", k, size, ok)
	_, _, ok = stats.CriticalCount(4, 0.5, 0.05)
	fmt.Println(ok)
	// Output:
	// 5 0.03125 true
	// false
}

// The tea-tasting table, 3 of 4 against 1 of 4: (16 + 1) / 70.
func ExampleScorePairs() {
	s, err := stats.ScorePairs(stats.Pairs{Hits: 3, Misses: 1, FalseAlarms: 1, CorrectRejections: 3}, stats.ScoreConfig{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("p = %.6f = 17/70\n", s.P)
	// Output: p = 0.242857 = 17/70
}

func ExampleTrialsFor() {
	p, err := stats.TrialsFor(0.5, 0.7, 0.05, 0.8)
	fmt.Println(p.Trials, err)
	// Output: 42 <nil>
}

// One right answer against chance: the likelihood of p, averaged over 1/2 to 1, is 3/4, and 3/4 ÷ 1/2 = 1.5.
func ExampleEValue() {
	e, _ := stats.EValue(1, 1, 0.5)
	fmt.Printf("%.1f\n", e)
	// Output: 1.5
}
