package stats_test

import (
	"errors"
	"math"
	"testing"

	"heardiff/stats"
)

// Every table of nine trials, scored one by one, for every split and listeners from guessing to always right.
func TestFisherPowerAgreesWithEveryTable(t *testing.T) {
	const n = 9
	choose := func(n, k int) float64 { return math.Round(math.Exp(stats.LnChoose(n, k))) }
	for _, p := range []float64{0.5, 0.7, 0.95, 1} {
		for nd := 1; nd < n; nd++ {
			want := 0.0
			for hits := range nd + 1 {
				for alarms := range n - nd + 1 {
					s, err := stats.ScorePairs(stats.Pairs{Hits: hits, Misses: nd - hits, FalseAlarms: alarms, CorrectRejections: n - nd - alarms}, stats.ScoreConfig{})
					if err != nil {
						t.Fatal(err)
					}
					if s.Reached {
						right := hits + n - nd - alarms
						want += choose(nd, hits) * choose(n-nd, alarms) * math.Pow(p, float64(right)) * math.Pow(1-p, float64(n-right))
					}
				}
			}
			got, err := stats.FisherPower(n, []stats.Split{{Different: nd, Chance: 1}}, p, 0.05)
			if err != nil || math.Abs(got.Power-want) > 1e-12 {
				t.Errorf("%d of %d different, p %v: power %v, want %v, error %v", nd, n, p, got.Power, want, err)
			}
		}
	}
}

// R 4.2.2, over every split and table:
//
//	power <- function(n, p, alpha) sum(sapply(1:(n-1), function(nd) {
//	  ns <- n - nd; h <- rep(0:nd, ns+1); f <- rep(0:ns, each=nd+1)
//	  reject <- phyper(h-1, nd, ns, h+f, lower.tail=FALSE) <= alpha*(1+1e-9)
//	  dbinom(nd, n, .5) * sum(dbinom(h, nd, p) * dbinom(f, ns, 1-p) * reject)}))
func TestFisherPowerAgreesWithR(t *testing.T) {
	for _, c := range []struct {
		trials      int
		power, size float64 // at 0.7 and 0.5
	}{{16, 0.256111002977, 0.0129467654042}, {42, 0.749680955577, 0.0250745659301}, {60, 0.897187108181, 0.0283591591586}} {
		got, err := stats.FisherPower(c.trials, stats.CoinSplits(c.trials), 0.7, 0.05)
		if err != nil || !near(got.Power, c.power, 1e-10) || !near(got.Size, c.size, 1e-10) {
			t.Errorf("%d trials: %+v, want %v and %v, error %v", c.trials, got, c.power, c.size, err)
		}
	}
}

// By hand: of seven trials in rounds of four, two are different in the complete round, and one or two of the remaining three.
func TestRoundsDivideAsTheyAreDealt(t *testing.T) {
	for _, c := range []struct {
		trials, assignments int
		want                []stats.Split
	}{
		{8, 4, []stats.Split{{4, 1}}}, {7, 4, []stats.Split{{3, 0.5}, {4, 0.5}}},
		{6, 4, []stats.Split{{2, 1. / 6}, {3, 4. / 6}, {4, 1. / 6}}}, {5, 2, []stats.Split{{2, 0.5}, {3, 0.5}}},
	} {
		got := stats.RoundSplits(c.trials, c.assignments)
		if len(got) != len(c.want) {
			t.Fatalf("%d in rounds of %d: %v", c.trials, c.assignments, got)
		}
		for i, w := range c.want {
			if got[i].Different != w.Different || math.Abs(got[i].Chance-w.Chance) > 1e-14 {
				t.Errorf("%d in rounds of %d: %v, want %v", c.trials, c.assignments, got[i], w)
			}
		}
	}
}

func TestFisherTrialsForIsTheFirstThatSuffices(t *testing.T) {
	got, err := stats.FisherTrialsFor(stats.CoinSplits, 0.7, 0.05, 0.8)
	if err != nil {
		t.Fatal(err)
	}
	power := func(n int) float64 {
		p, err := stats.FisherPower(n, stats.CoinSplits(n), 0.7, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		return p.Power
	}
	if power(got.Trials-1) >= 0.8 || got.Power != power(got.Trials) {
		t.Errorf("%+v, one trial fewer has %v", got, power(got.Trials-1))
	}
	for n := range 5 {
		if power(got.Trials+n) < 0.8 {
			t.Errorf("%d trials: power %v", got.Trials+n, power(got.Trials+n))
		}
	}
	for _, p := range []float64{0.5, 0.505} {
		if _, err := stats.FisherTrialsFor(stats.CoinSplits, p, 0.05, 0.8); !errors.Is(err, stats.ErrOutOfReach) {
			t.Errorf("p %v: error %v", p, err)
		}
	}
}
