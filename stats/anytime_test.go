package stats_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"heardiff/stats"
)

// expectation returns the expected factor by which a step multiplies the risk, over all counts of n trials at p: at most 1
// where the null is true, so that the remaining risk is a supermartingale.
func expectation(n int, p, alpha float64, step func(k int) stats.Step) float64 {
	sum := 0.0
	for k := range n + 1 {
		v := math.Exp(stats.RemainingRisk([]stats.Step{step(k)}, math.Log(alpha)))
		point := math.Exp(stats.LnUpperTail(k, n, p)) - math.Exp(stats.LnUpperTail(k+1, n, p))
		sum += point * v / alpha
	}
	return sum
}

func TestAStepIsAnEValue(t *testing.T) {
	for _, n := range []int{1, 5, 16, 30, 42, 100} {
		for _, alpha := range []float64{0.05, 0.0125, 1e-4} {
			up := expectation(n, 0.5, alpha, func(k int) stats.Step {
				return stats.Upward([]stats.Sitting{{Correct: k, Trials: n, Planned: n}}, 0.5, alpha)[0]
			})
			down := expectation(n, 0.65, alpha, func(k int) stats.Step {
				return stats.Downward([]stats.Sitting{{Correct: k, Trials: n, Planned: n, Smallest: 0.65}}, 0.5, 0.65, alpha)[0]
			})
			left := expectation(n, 0.5, alpha, func(k int) stats.Step {
				return stats.Upward([]stats.Sitting{{Correct: k, Trials: n, Planned: 2 * n}}, 0.5, alpha)[0]
			})
			for name, e := range map[string]float64{"up": up, "down": down, "given up half-way": left} {
				if e > 1+1e-9 || e < 0.01 {
					t.Errorf("%s, n %d, alpha %g: expectation %v", name, n, alpha, e)
				}
			}
		}
	}
}

// The evidence equals reference tables made with scipy 1.10.1 (testdata/statistics/eprocess_paths.csv), trial by trial.
func TestEvidenceOfPaths(t *testing.T) {
	f, err := os.Open("../testdata/statistics/eprocess_paths.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		n, _ := strconv.Atoi(row[1])
		k := strings.Count(row[0][:n], "1")
		want, _ := strconv.ParseFloat(row[3], 64)
		got := stats.Upward([]stats.Sitting{{Correct: k, Trials: n, Planned: n}}, 0.5, 0.05)[0].LnEvidence
		if math.Abs(math.Exp(got)/want-1) > 1e-9 {
			t.Errorf("%s after %d: %v, want %v", row[0], n, math.Exp(got), want)
		}
	}
}

// The counts of printed tables (binomial, one-sided 0.05) decide a first planned test: 5 of 5, 12 of 16, 27 of 42, 20 of
// 30, whose tail of 0.0494 leaves hardly anything to keep, and 59 of 100.
func TestCriticalCountsStayWhatTheTablesPrint(t *testing.T) {
	for _, c := range []struct{ n, k int }{{5, 5}, {16, 12}, {30, 20}, {42, 27}, {100, 59}} {
		k, _, ok := stats.PlannedCount(c.n, 0.5, 0.05*0.995*0.995)
		if !ok || k != c.k {
			t.Errorf("%d trials: %d, want %d", c.n, k, c.k)
		}
		ln := stats.AnytimeP(stats.Upward([]stats.Sitting{{Correct: c.k, Trials: c.n, Planned: c.n}}, 0.5, 0.05*0.995*0.995))
		if math.Exp(ln) > 0.05*0.995*0.995*(1+1e-9) {
			t.Errorf("%d of %d: p %v", c.k, c.n, math.Exp(ln))
		}
	}
}

// A session that fails leaves less risk, multiplied by its evidence. One that is given up leaves the remaining value of its
// test. Later sessions never undo a finding.
func TestSessionsAddUp(t *testing.T) {
	at := func(sittings ...stats.Sitting) float64 {
		return math.Exp(stats.AnytimeP(stats.Upward(sittings, 0.5, 0.05)))
	}
	whole := func(k, n int) stats.Sitting { return stats.Sitting{Correct: k, Trials: n, Planned: n} }
	heard := at(whole(27, 42))
	if got := at(whole(27, 42), whole(10, 42)); got > heard*(1+1e-12) {
		t.Errorf("a later session made p %v of %v", got, heard)
	}
	if nothing := at(stats.Sitting{Planned: 42}, whole(27, 42)); nothing > 1.2*heard {
		t.Errorf("a session given up before its first answer made p %v of %v", nothing, heard)
	}
	if twice := at(whole(26, 42), whole(36, 42)); twice > 0.01 {
		t.Errorf("26 and 36 of 42: p %v", twice)
	}
	if closed, searched := at(whole(26, 42), whole(30, 42)), at(whole(26, 42), whole(30, 42), stats.Sitting{Planned: 42}); math.Abs(closed/searched-1) > 1e-9 {
		t.Errorf("p %v, searched %v", closed, searched)
	}
}

// Equal shares of one question give Holm's p; shares stay within a question until all of it is settled.
func TestAdjustFamily(t *testing.T) {
	ln := []float64{math.Log(0.001), math.Log(0.02), math.Log(0.03)}
	claims := make([]stats.Claim, len(ln))
	for i, v := range ln {
		claims[i] = stats.Claim{LnP: v, Share: 1.0 / 3, Planned: true}
	}
	got := stats.AdjustFamily([]stats.Question{{Share: 1, Planned: true, Complete: true, Claims: claims}})[0]
	for i, want := range stats.Holm(ln) {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("claim %d: %v, Holm %v", i, math.Exp(got[i]), math.Exp(want))
		}
	}
	one := func(p float64) stats.Question {
		return stats.Question{Share: 0.5, Planned: true, Complete: true, Claims: []stats.Claim{{LnP: math.Log(p), Share: 1, Planned: true}}}
	}
	both := stats.AdjustFamily([]stats.Question{one(0.001), one(0.04)})
	if p := math.Exp(both[1][0]); math.Abs(p-0.04) > 1e-12 {
		t.Errorf("the second of two questions after the first was settled: %v", p)
	}
	open := one(0.001)
	open.Complete = false
	if p := math.Exp(stats.AdjustFamily([]stats.Question{open, one(0.04)})[1][0]); math.Abs(p-0.08) > 1e-12 {
		t.Errorf("while the first still waits for listeners: %v", p)
	}
}

// The exact conditional test over strata: two Fisher tables, enumerated.
func TestConditionalP(t *testing.T) {
	a := stats.Pairs{Hits: 3, Misses: 1, FalseAlarms: 1, CorrectRejections: 3}
	// In one tea-tasting table hits are 0…4 in 1, 16, 36, 16, 1 of 70 ways: two tables have six or more in
	// 1 + 2·16 + 2·36 + 16² ways.
	if got, want := math.Exp(stats.ConditionalP([]stats.Pairs{a, a})), (1+2*16+2*36+16*16)/4900.0; math.Abs(got-want) > 1e-12 {
		t.Errorf("p %v, want %v", got, want)
	}
	if got := math.Exp(stats.ConditionalP([]stats.Pairs{a})); math.Abs(got-17.0/70) > 1e-12 {
		t.Errorf("p %v", got)
	}
}
