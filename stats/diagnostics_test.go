package stats_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/stats"
)

// outcomes turns 0 and 1 into false and true.
func outcomes(s string) []bool {
	var v []bool
	for _, c := range s {
		v = append(v, c == '1')
	}
	return v
}

func TestDiagnosticsAgreeWithR(t *testing.T) {
	for _, r := range table(t, "diagnostics") {
		x := outcomes(r["sequence"])
		d, err := stats.Diagnose(x, x, 0.95)
		must(t, err)
		if d.Answers != d.RightWrong || d.Answers.Runs != r.int(t, "runs") || d.Halves.First.Correct != r.int(t, "first_right") ||
			d.Halves.Second.Correct != r.int(t, "second_right") || d.Pattern.LongestSame != r.int(t, "longest") || !d.Trend.Exact {
			t.Errorf("%s: %+v", r["sequence"], d)
		}
		for column, got := range map[string]float64{
			"p_few": d.Answers.PFew, "p_many": d.Answers.PMany, "p_longest": d.Pattern.PSame, "p_halves": d.Halves.P,
			"z": d.Trend.Z, "p_trend": d.Trend.P, "p_bias": d.Bias.P,
		} {
			if r[column] != "NA" && !near(got, r.float(t, column), 1e-10) {
				t.Errorf("%s: %s = %v, want %s", r["sequence"], column, got, r[column])
			}
		}
		if p := math.Min(1, 2*math.Min(d.Answers.PFew, d.Answers.PMany)); d.Answers.P != p {
			t.Errorf("%s: two-sided %v, want %v", r["sequence"], d.Answers.P, p)
		}
	}
}

// ref: Swed & Eisenhart (1943), table II, from memory: with ten of each kind, six runs or fewer and sixteen or more are
// significant at 0.025 per side; seven and fifteen are not.
func TestRunsOfTenAndTen(t *testing.T) {
	for _, c := range []struct {
		order     string
		runs      int
		few, many bool
	}{
		{"11110000111100001100", 6, true, false},
		{"11110000111000011001", 7, false, false},
		{"11001100100101010101", 15, false, false},
		{"11001100101010101010", 16, false, true},
	} {
		r := stats.TestRuns(outcomes(c.order))
		if r.First != 10 || r.Second != 10 || r.Runs != c.runs || (r.PFew <= 0.025) != c.few || (r.PMany <= 0.025) != c.many {
			t.Errorf("%s: %+v", c.order, r)
		}
	}
}

// A longer session: runs stay exact, the trend uses the normal approximation where there are too many orders to count.
func TestTheTrendOfALongSessionIsNormal(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 5))
	right := make([]bool, 160)
	for i := range right {
		right[i] = random.Float64() < 0.55+0.002*float64(i)
	}
	exact, err := stats.Diagnose(right, right, 0.95)
	must(t, err)
	if !exact.Trend.Exact {
		t.Fatalf("%d trials are not counted exactly", len(right))
	}
	normal := math.Erfc(math.Abs(exact.Trend.Z) / math.Sqrt2)
	if math.Abs(normal-exact.Trend.P) > 0.1*exact.Trend.P {
		t.Errorf("exact %v, normal %v", exact.Trend.P, normal)
	}
	long := make([]bool, 10_000)
	for i := range long {
		long[i] = i%2 == 0
	}
	d, err := stats.Diagnose(long, long, 0.95)
	must(t, err)
	if d.Trend.Exact || d.Answers.PMany > 1e-300 && d.Answers.Runs != 10_000 || d.Pattern.LongestAlternating != 10_000 || d.Answers.PFew < 1-1e-9 {
		t.Errorf("%+v", d)
	}
}

// The error rate of every diagnostic for fair coins is at most nominal, within 4.4 standard errors.
func TestDiagnosticsKeepTheirErrorRate(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	const sessions, trials, alpha = 3000, 24, 0.05
	found := map[string]int{}
	for range sessions {
		answers, right := make([]bool, trials), make([]bool, trials)
		for i := range answers {
			answers[i], right[i] = random.IntN(2) == 0, random.IntN(2) == 0
		}
		d, err := stats.Diagnose(answers, right, 0.95)
		must(t, err)
		for name, p := range map[string]float64{"runs of right and wrong": d.RightWrong.P, "runs of answers": d.Answers.P, "halves": d.Halves.P,
			"trend": d.Trend.P, "bias": d.Bias.P, "longest": d.Pattern.PSame, "alternating": d.Pattern.PAlternating} {
			if p <= alpha {
				found[name]++
			}
		}
	}
	for name, n := range found {
		if share := float64(n) / sessions; share > alpha+4.4*math.Sqrt(alpha*(1-alpha)/sessions) {
			t.Errorf("%s: %.4f of fair coins", name, share)
		}
	}
	if len(found) != 7 {
		t.Errorf("a diagnostic never finds anything: %v", found)
	}
}

func TestDiagnosticsOfNothing(t *testing.T) {
	if _, err := stats.Diagnose(nil, nil, 0.95); err == nil {
		t.Error("no trials were diagnosed")
	}
	if _, err := stats.Diagnose([]bool{true}, []bool{true, false}, 0.95); err == nil {
		t.Error("answers without a judgement were diagnosed")
	}
	d, err := stats.Diagnose([]bool{true}, []bool{true}, 0.95)
	if err != nil || !math.IsNaN(d.Answers.P) || !math.IsNaN(d.Trend.P) || !math.IsNaN(d.Halves.P) {
		t.Errorf("one trial: %+v, %v", d, err)
	}
}

// By hand: of the C(4, 2) = 6 orders of two outcomes of each kind, two alternate throughout.
func ExampleTestRuns() {
	r := stats.TestRuns([]bool{true, false, true, false})
	fmt.Printf("%d runs, at least so many by chance: %.4f = 2/6\n", r.Runs, r.PMany)
	// Output: 4 runs, at least so many by chance: 0.3333 = 2/6
}

// Three tosses contain a run of three in 2 of 8 cases.
func ExampleLongestRun() {
	length, p := stats.LongestRun([]bool{true, true, true})
	fmt.Printf("%d, p = %.2f\n", length, p)
	// Output: 3, p = 0.25
}

// Wrong in the first half, right in the second: 2 of the C(8, 4) = 70 orders are as far apart.
func ExampleDiagnose() {
	right := []bool{false, false, false, false, true, true, true, true}
	answers := []bool{true, false, false, true, true, false, true, false}
	d, err := stats.Diagnose(answers, right, 0.95)
	fmt.Printf("halves p = %.4f, trend p = %.4f (2/70 = %.4f), %v\n", d.Halves.P, d.Trend.P, 2.0/70, err)
	// Output: halves p = 0.0286, trend p = 0.0286 (2/70 = 0.0286), <nil>
}

func BenchmarkDiagnose(b *testing.B) {
	for _, n := range []int{16, 100, 160, 10_000} {
		x := make([]bool, n)
		random := rand.New(rand.NewPCG(7, 7))
		for i := range x {
			x[i] = random.IntN(2) == 0
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for range b.N {
				if _, err := stats.Diagnose(x, x, 0.95); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
