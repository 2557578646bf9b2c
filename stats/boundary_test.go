package stats_test

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"heardiff/stats"
)

func boundaryOf(name string) stats.Boundary {
	if name == "pocock" {
		return stats.Pocock
	}
	return stats.OBrienFleming
}

// Published columns: Jennison and Turnbull (2000), tables 2.1 and 2.3, two-sided; the rest by recursive Simpson integration
// in numpy. A two-sided constant equals the one-sided constant at half the risk, except for paths that cross both
// boundaries, below 2e-5.
func TestNormalConstantsAgreeWithTheTables(t *testing.T) {
	for _, r := range table(t, "group_sequential_constants") {
		looks, alpha, tol := r.int(t, "K"), r.float(t, "alpha"), 1e-8
		if r["sided"] == "two" {
			alpha, tol = alpha/2, 2e-4
		}
		at, err := stats.EqualLooks(100*looks, looks)
		if err != nil {
			t.Fatal(err)
		}
		for b, column := range map[stats.Boundary]string{stats.Pocock: "C_pocock", stats.OBrienFleming: "C_obf"} {
			got := b.NormalConstant(at, alpha)
			if want := r.float(t, column); math.Abs(got-want) > tol {
				t.Errorf("%s, %s-sided %s, %d looks: %.10f, want %v", b, r["sided"], r["alpha"], looks, got, want)
			}
			published := r[map[stats.Boundary]string{stats.Pocock: "pocock_published", stats.OBrienFleming: "obf_published"}[b]]
			if want, err := strconv.ParseFloat(published, 64); err == nil && alpha <= 0.025 && math.Abs(got-want) > 0.6e-3+0.5*math.Pow(10, -float64(len(published)-strings.Index(published, ".")-1)) {
				t.Errorf("%s, %d looks: %.4f, printed %s", b, looks, got, published)
			}
		}
	}
}

func ints(text string) []int {
	var all []int
	for _, f := range strings.Fields(text) {
		v, _ := strconv.Atoi(f)
		all = append(all, v)
	}
	return all
}

// Counts, exact size, power and expected trials of boundaries at the normal constants: exact recursion in scipy 1.10.1.
func TestBoundariesOnTheBinomialAgreeWithScipy(t *testing.T) {
	for _, r := range table(t, "group_sequential_binomial") {
		at, b := ints(r["n_at_look"]), boundaryOf(r["design"])
		l := stats.Looks{Trials: at, Heard: b.Counts(at, 0.5, b.NormalConstant(at, r.float(t, "alpha_one_sided")))}
		for range at {
			l.RuledOut = append(l.RuledOut, -1)
		}
		if fmt.Sprint(l.Heard) != fmt.Sprint(ints(r["k_at_look"])) {
			t.Errorf("%v: counts %v", r, l.Heard)
			continue
		}
		for _, c := range []struct {
			p             float64
			heard, trials string
		}{{0.5, "exact_size", "ASN_p05"}, {0.7, "power_p07", "ASN_p07"}, {0.8, "power_p08", "ASN_p08"}} {
			got := l.Course(c.p)
			if !near(got.Heard, r.float(t, c.heard), 1e-10) || !near(got.Expected, r.float(t, c.trials), 1e-10) {
				t.Errorf("%v at %v: %+v", r, c.p, got)
			}
		}
	}
}

// everyPath enumerates all 2ⁿ sequences of answers, each judged at its first boundary.
func everyPath(l stats.Looks, p float64) (heard, ruledOut float64) {
	n := l.Trials[len(l.Trials)-1]
	for path := range 1 << n {
		k, chance, said := 0, 1.0, ""
		for i, look := 0, 0; i < n; i++ {
			if path>>i&1 == 1 {
				k, chance = k+1, chance*p
			} else {
				chance *= 1 - p
			}
			if i+1 == l.Trials[look] {
				switch {
				case said == "" && k >= l.Heard[look]:
					said = "heard"
				case said == "" && k <= l.RuledOut[look]:
					said = "ruled out"
				}
				look++
			}
		}
		switch said {
		case "heard":
			heard += chance
		case "ruled out":
			ruledOut += chance
		}
	}
	return heard, ruledOut
}

func TestCourseIsTheSumOverEveryPath(t *testing.T) {
	g := stats.Groups{Boundary: stats.Pocock, Trials: []int{4, 9, 16}, Alpha: 0.1, RuleOut: 0.8, Risk: 0.1}
	plan, err := g.Plan()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []float64{0.5, 0.7, 0.9} {
		heard, out := everyPath(plan.Looks, p)
		if c := plan.Looks.Course(p); !near(c.Heard, heard, 1e-12) || !near(c.RuledOut, out, 1e-12) {
			t.Errorf("p %v: %+v, every path %v and %v", p, c, heard, out)
		}
	}
}

// Both risks hold exactly, each whether or not the other boundary is obeyed, and one count more would break α.
func TestGroupPlansKeepBothRisks(t *testing.T) {
	for _, b := range []stats.Boundary{stats.OBrienFleming, stats.Pocock} {
		for _, looks := range []int{1, 2, 3, 5, 10} {
			for _, alpha := range []float64{0.01, 0.05} {
				at, err := stats.EqualLooks(80, looks)
				if err != nil {
					t.Fatal(err)
				}
				plan, err := stats.Groups{Boundary: b, Trials: at, Alpha: alpha, RuleOut: 0.4}.Plan()
				if err != nil {
					t.Fatal(err)
				}
				null, at40 := plan.Looks.Course(0.5), plan.Looks.Course(stats.FromDiscriminators(0.4, 0.5))
				if null.Heard > alpha*(1+1e-12) || plan.Size > alpha*(1+1e-12) || at40.RuledOut > alpha*(1+1e-12) || plan.Risk > alpha*(1+1e-12) {
					t.Errorf("%s, %d looks, alpha %v: %+v, %+v, %+v", b, looks, alpha, plan, null, at40)
				}
				looser := plan.Looks
				looser.RuledOut = make([]int, looks)
				for i := range looser.RuledOut {
					looser.RuledOut[i] = -1
				}
				// Smaller constants admit the same counts down to the next step, and one more there.
				for f := 1 - 1e-4; fmt.Sprint(looser.Heard) == fmt.Sprint(plan.Looks.Heard); f -= 1e-4 {
					looser.Heard = b.Counts(at, 0.5, plan.Constant*f)
				}
				if got := looser.Course(0.5).Heard; got <= alpha {
					t.Errorf("%s, %d looks: the next count keeps %v too (%v)", b, looks, alpha, got)
				}
			}
		}
	}
}

func TestOneLookIsTheFixedTest(t *testing.T) {
	plan, err := stats.Groups{Trials: []int{42}}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	k, size, _ := stats.CriticalCount(42, 0.5, 0.05)
	if plan.Looks.Heard[0] != k || !near(plan.Size, size, 1e-12) {
		t.Errorf("%+v, the fixed test has %d, %v", plan, k, size)
	}
}

func TestGroupPlansRefuseWhatCannotBe(t *testing.T) {
	for name, g := range map[string]stats.Groups{
		"no looks": {}, "looks that fall": {Trials: []int{9, 4}}, "alpha 0.7": {Trials: []int{9}, Alpha: 0.7},
		"p_d of 1": {Trials: []int{9}, RuleOut: 1}, "chance of 2": {Trials: []int{9}, Chance: 2}, "too few": {Trials: []int{3}},
	} {
		if p, err := g.Plan(); err == nil {
			t.Errorf("%s: %+v", name, p)
		}
	}
	if _, err := (stats.Groups{Trials: []int{3}}).Plan(); !errors.Is(err, stats.ErrOutOfReach) {
		t.Errorf("three trials: %v", err)
	}
	if _, err := stats.EqualLooks(3, 4); err == nil {
		t.Error("four looks at three trials")
	}
}

// Two looks at 10 and 20 trials with the O'Brien–Fleming-like boundary.
func ExampleGroups_Plan() {
	plan, _ := stats.Groups{Trials: []int{10, 20}, RuleOut: 0.8}.Plan()
	fmt.Println("heard at", plan.Looks.Heard, "right of", plan.Looks.Trials)
	fmt.Println("p_d of 0.8 or more ruled out at", plan.Looks.RuledOut)
	fmt.Printf("risks %.4f and %.4f\n", plan.Size, plan.Risk)
	// Output:
	// heard at [9 15] right of [10 20]
	// p_d of 0.8 or more ruled out at [6 14]
	// risks 0.0271 and 0.0471
}

func BenchmarkGroupPlan(b *testing.B) {
	for _, n := range []int{100, 1000, 4000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			at, err := stats.EqualLooks(n, 5)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := (stats.Groups{Trials: at, RuleOut: 0.3}).Plan(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
