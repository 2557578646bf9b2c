package stats_test

import (
	"fmt"
	"math"
	"testing"

	"heardiff/stats"
)

// With two listeners in each group the half-width of the t interval can exceed 1; no difference of proportions is beyond ±1.
func TestTheGroupDifferenceStaysWithinOne(t *testing.T) {
	p, err := stats.PoolListeners([]stats.Listener{
		{Listener: "a", Group: "x", Correct: 9, Trials: 20}, {Listener: "b", Group: "x", Correct: 18, Trials: 20},
		{Listener: "c", Group: "y", Correct: 20, Trials: 20}, {Listener: "d", Group: "y", Correct: 11, Trials: 20}}, stats.ScoreConfig{})
	if err != nil {
		t.Fatal(err)
	}
	d := p.GroupDifference
	if d.Interval != [2]float64{-1, 1} || !d.Cut || !p.Warned(stats.DifferenceCut) {
		t.Errorf("%+v, %q", d, p.Texts)
	}
}

// The maximum over several listeners, by enumerating every outcome: four listeners of 3, 4, 4 and 5 fair trials.
func TestTheMaximumAgreesWithEveryOutcome(t *testing.T) {
	trials := []int{3, 4, 4, 5}
	for _, seen := range [][]int{{3, 2, 2, 3}, {1, 4, 2, 2}, {2, 2, 3, 5}, {0, 1, 1, 1}} {
		best := 1.0
		var listeners []stats.Listener
		for i, k := range seen {
			best = math.Min(best, binomialTail[trials[i]][k])
			listeners = append(listeners, stats.Listener{Listener: string(rune('a' + i)), Correct: k, Trials: trials[i]})
		}
		extreme := 0.0
		for outcome := range 1 << 16 { // every answer of every listener is a bit
			bits, smallest := outcome, 1.0
			for _, n := range trials {
				k := 0
				for range n {
					k += bits & 1
					bits >>= 1
				}
				smallest = math.Min(smallest, binomialTail[n][k])
			}
			if smallest <= best*(1+1e-12) {
				extreme++
			}
		}
		p, err := stats.PoolListeners(listeners, stats.ScoreConfig{})
		if err != nil || !near(p.MaximumP, extreme/(1<<16), 1e-12) {
			t.Errorf("%v: p %v, every outcome counted %v (%v)", seen, p.MaximumP, extreme/(1<<16), err)
		}
	}
}

// binomialTail[n][k] is P(X ≥ k) in n fair trials, by hand.
var binomialTail = map[int][]float64{
	3: {1, 7.0 / 8, 4.0 / 8, 1.0 / 8},
	4: {1, 15.0 / 16, 11.0 / 16, 5.0 / 16, 1.0 / 16},
	5: {1, 31.0 / 32, 26.0 / 32, 16.0 / 32, 6.0 / 32, 1.0 / 32},
}

// Two listeners, each right in all of five trials. Together ten of ten: 1/2¹⁰. The probability that at least one of two
// guessers does as well: 1 − (1 − 1/32)² = 63/1024.
func ExamplePoolListeners() {
	p, err := stats.PoolListeners([]stats.Listener{{Listener: "a", Correct: 5, Trials: 5}, {Listener: "b", Correct: 5, Trials: 5}}, stats.ScoreConfig{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("total %.6f, at least one %.6f\n", p.Total.P, p.MaximumP)
	// Output: total 0.000977, at least one 0.061523
}

func BenchmarkPoolSites(b *testing.B) {
	var all []stats.Listener
	for i := range 10_000 {
		all = append(all, stats.Listener{Listener: fmt.Sprint(i), Site: fmt.Sprint(i % 12), Correct: 40 + i%20, Trials: 100})
	}
	for range b.N {
		if _, err := stats.PoolListeners(all, stats.ScoreConfig{}); err != nil {
			b.Fatal(err)
		}
	}
}
