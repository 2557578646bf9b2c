package stats_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"heardiff/stats"
)

// For identical listeners both powers have closed forms: the binomial tail of the total, and one less the probability that
// none passes.
func TestPanelsOfEqualListenersHaveTheExactPower(t *testing.T) {
	for _, p := range []stats.Panel{{Listeners: 10, Trials: 16, PTrue: 0.6}, {Listeners: 4, Trials: 40, PTrue: 0.65, Seed: 3}, {Listeners: 1, Trials: 16, PTrue: 0.7}} {
		got, err := p.Power()
		if err != nil {
			t.Fatal(err)
		}
		total, err := stats.PowerAt(p.Listeners*p.Trials, 0.5, p.PTrue, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		one, err := stats.PowerAt(p.Trials, 0.5, p.PTrue, 0.05/float64(p.Listeners))
		if err != nil {
			t.Fatal(err)
		}
		anybody := 1 - math.Pow(1-one.Power, float64(p.Listeners))
		if math.Abs(got.Total-total.Power) > 4*got.TotalError || math.Abs(got.Any-anybody) > 4*got.AnyError {
			t.Errorf("%+v: total %.4f (exact %.4f), any %.4f (exact %.4f)", p, got.Total, total.Power, got.Any, anybody)
		}
	}
}

// The total of beta-binomial listeners has mean K·n·p and variance K·n·p·(1 − p)·(1 + (n − 1)·ρ); with many listeners its
// power is that of a normal variable with these (central limit; continuity-corrected).
func TestPanelsOfUnequalListenersSpreadAsTheBetaBinomialDoes(t *testing.T) {
	p := stats.Panel{Listeners: 200, Trials: 10, PTrue: 0.52, Rho: 0.1, Runs: 40_000}
	got, err := p.Power()
	if err != nil {
		t.Fatal(err)
	}
	n := 2000.0
	sd := math.Sqrt(n * 0.52 * 0.48 * (1 + 9*0.1))
	want := 0.5 * math.Erfc((float64(*got.TotalAt)-0.5-n*0.52)/sd/math.Sqrt2)
	if math.Abs(got.Total-want) > 4*got.TotalError+0.003 { // 0.003: skew of the total, by Edgeworth below 0.002 here
		t.Errorf("power %.4f, want %.4f", got.Total, want)
	}
	alike, err := stats.Panel{Listeners: 200, Trials: 10, PTrue: 0.52}.Power()
	if err != nil || alike.Any > got.Any {
		t.Errorf("listeners who differ are found less often one by one: %.4f against %.4f, %v", got.Any, alike.Any, err)
	}
}

func TestGuessersPassAtTheRiskAskedFor(t *testing.T) {
	got, err := stats.Panel{Listeners: 12, Trials: 20, PTrue: 0.5, Runs: 50_000}.Power()
	if err != nil {
		t.Fatal(err)
	}
	if got.Total > 0.05+4*got.TotalError || got.Any > 0.05+4*got.AnyError {
		t.Errorf("%+v", got)
	}
}

func TestTrialsEachIsTheFirstThatSuffices(t *testing.T) {
	p := stats.Panel{Listeners: 8, PTrue: 0.65, Rho: 0.05, Seed: 5}
	got, err := p.TrialsEach(0.8)
	if err != nil {
		t.Fatal(err)
	}
	p.Trials = got.Trials - 1
	before, err := p.Power()
	if err != nil {
		t.Fatal(err)
	}
	if got.Total < 0.8 || before.Total >= 0.8 {
		t.Errorf("%d trials: %.3f, one fewer %.3f", got.Trials, got.Total, before.Total)
	}
	if _, err := (stats.Panel{Listeners: 2, PTrue: 0.55, Rho: 0.5, Runs: 2000}).TrialsEach(0.99); !errors.Is(err, stats.ErrOutOfReach) {
		t.Errorf("two listeners who differ wildly: %v", err)
	}
}

func TestPanelsRefuseWhatCannotBe(t *testing.T) {
	for _, p := range []stats.Panel{{}, {Listeners: 1e6, Trials: 2, PTrue: 0.5}, {Listeners: 1, Trials: 1, PTrue: 1}, {Listeners: 1, Trials: 1, PTrue: 0.5, Rho: 1},
		{Listeners: 1, Trials: 1, PTrue: 0.5, Runs: 3}, {Listeners: 1, Trials: 1, PTrue: 0.5, Alpha: -1}} {
		if got, err := p.Power(); err == nil {
			t.Errorf("%+v: %+v", p, got)
		}
	}
}

func ExamplePanel() {
	r, _ := stats.Panel{Listeners: 20, Trials: 16, PTrue: 0.6, Rho: 0.1}.Power()
	fmt.Printf("%d of %d in all; found with chance %.1f\n", *r.TotalAt, 20*16, r.Total)
	// Output:
	// 176 of 320 in all; found with chance 0.9
}

func BenchmarkPanel(b *testing.B) {
	for _, n := range []int{10, 100, 1000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := (stats.Panel{Listeners: n, Trials: 16, PTrue: 0.6, Rho: 0.1}).Power(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
