package trials

import (
	"testing"

	"heardiff/stats"
)

// A guesser of two intervals is a fair coin, as in a duo-trio test.
// ref: ISO 10399:2004, table A.1 (duo-trio), except row 22, which repeats row 21 and exceeds its risk: there the computed
// count is used.
func TestTwoIntervalDecidesByThePublishedTable(t *testing.T) {
	publishedCounts(t, TwoInterval, "../testdata/statistics/iso10399_table_a1.csv", 3)
}

// The listener of the model calls B the presentation that evokes more.
func TestTwoIntervalRecoversASimulatedListener(t *testing.T) {
	recovers(t, TwoInterval, 1, func(x []float64) Answer {
		if x[1] > x[0] {
			return "2"
		}
		return "1"
	})
}

// d′ is √2·z(pc): 0.6745·√2 at three quarters right (0.6745: normal tables).
func TestTwoIntervalHasItsOwnDPrime(t *testing.T) {
	s, err := TwoInterval.Score(75, 100, stats.ScoreConfig{})
	if err != nil {
		t.Fatal(err)
	}
	if want := 0.6744897501960817 * 1.4142135623730951; s.DPrime < want-1e-12 || s.DPrime > want+1e-12 || s.DPrimeIndependent != s.DPrime {
		t.Errorf("d′ %v, want √2·z(0.75) = %v", s.DPrime, want)
	}
}

// The design has two answers, so that balanced order is judged by Fisher's test, as in ABX.
func TestTwoIntervalInBalancedOrder(t *testing.T) {
	p := testPlan(TwoInterval, 16)
	p.Order = Balanced
	s, m := begin(t, p, Seed{41})
	for s.View().Phase != Done {
		answer(t, s, oracle(t, s))
	}
	r, err := s.Result(m.entries)
	if err != nil {
		t.Fatal(err)
	}
	if pairs := r.Tallies[0].Answers.Pairs(); pairs != (stats.Pairs{Hits: 8, CorrectRejections: 8}) || !p.Conditional() || r.Tallies[0].Hits != 0 {
		t.Errorf("%+v: eight of each, all right", pairs)
	}
}
