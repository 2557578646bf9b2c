package stats_test

import (
	"fmt"
	"math"
	"testing"

	"heardiff/stats"
)

// ScoreABX and ScoreChoice must agree on the procedure that both score.
func TestAnyChoiceIsScoredAsABXIs(t *testing.T) {
	for _, c := range [][2]int{{12, 16}, {8, 16}, {2, 16}, {16, 16}, {3, 3}, {276, 554}} {
		abx, err := stats.ScoreABX(c[0], c[1], stats.ScoreConfig{})
		must(t, err)
		s, err := stats.ScoreChoice(stats.ABXObservations, c[0], c[1], stats.ScoreConfig{})
		must(t, err)
		for name, v := range map[string][2]float64{
			"p": {s.P, abx.P}, "two-sided": {s.PTwoSided, abx.PTwoSided}, "d′": {s.DPrime, abx.DPrimeIndependent},
			"d′ from": {s.DPrimeInterval[0], abx.DPrimeInterval[0]}, "d′ to": {s.DPrimeInterval[1], abx.DPrimeInterval[1]},
			"p_d": {s.Discriminators, abx.Discriminators}, "p_d up to": {s.DiscriminatorsUpper, abx.DiscriminatorsUpper},
		} {
			if v[0] != v[1] && !(math.IsNaN(v[0]) && math.IsNaN(v[1])) && !near(v[0], v[1], 1e-14) {
				t.Errorf("%v: %s is %v here, %v there", c, name, v[0], v[1])
			}
		}
		if s.Reached != abx.Reached || (s.Critical == nil) != (abx.Critical == nil) || !s.Reached && !s.Warned(stats.BoundOnly) {
			t.Errorf("%v: %+v", c, s)
		}
	}
	if _, err := stats.ScoreChoice(stats.Triangle, 4, 3, stats.ScoreConfig{}); err == nil {
		t.Error("more correct than trials were scored")
	}
}

// Three of three odd ones found by chance: (1/3)³.
func ExampleScoreChoice() {
	s, err := stats.ScoreChoice(stats.Triangle, 3, 3, stats.ScoreConfig{})
	fmt.Printf("p = %.4f = 1/27, %v\n", s.P, err)
	// Output: p = 0.0370 = 1/27, <nil>
}
