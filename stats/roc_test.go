package stats_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"heardiff/stats"
)

func numbers(t *testing.T, s string) []int {
	t.Helper()
	var v []int
	for _, f := range strings.Fields(s) {
		n, err := strconv.Atoi(f)
		must(t, err)
		v = append(v, n)
	}
	return v
}

func TestRatingsAgreeWithR(t *testing.T) {
	for _, r := range table(t, "ratings") {
		c, err := stats.CompareRatings(numbers(t, r["low"]), numbers(t, r["high"]), 0.95)
		must(t, err)
		// Larger sets are counted exactly here, while R uses the normal approximation: they agree to its accuracy.
		tol := 1e-10
		if c.Exact && r["exact"] != "TRUE" {
			tol = 0.2
		}
		if !near(c.Area, r.float(t, "area"), 1e-11) || math.Abs(c.SE-r.float(t, "se")) > 1e-11 || !near(c.P, r.float(t, "p"), tol) {
			t.Errorf("%v: area %v, se %v, p %v (%v)", r, c.Area, c.SE, c.P, c.Exact)
		}
		if !(c.Interval[0] <= c.Area && c.Area <= c.Interval[1]) || c.Interval[0] < 0 || c.Interval[1] > 1 {
			t.Errorf("area %v, interval %v", c.Area, c.Interval)
		}
	}
}

// ref: the odour ratings of Macmillan & Creelman (2005), chapter 3: d′ at each criterion as printed.
func TestRatingCriteriaAsPublished(t *testing.T) {
	r := table(t, "ratings")[0]
	c, err := stats.CompareRatings(numbers(t, r["low"]), numbers(t, r["high"]), 0.95)
	must(t, err)
	for i, want := range []float64{1.553861, 1.421438, 1.468147, 1.316269, 1.329261} {
		if math.Abs(c.Points[i].ZDifference-want) > 5.0001e-7 {
			t.Errorf("criterion %d: %v, printed %v", i+1, c.Points[i].ZDifference, want)
		}
	}
	if last := c.Points[len(c.Points)-1]; last.HitRate != 1 || last.FalseAlarmRate != 1 || !math.IsNaN(last.ZDifference) {
		t.Errorf("the laxest criterion: %+v", last)
	}
}

// ref: Hanley & McNeil (1982), Radiology 143, table I from memory: an area of 0.893 from 51 abnormal and 58 normal images
// has a standard error of 0.032.
func TestHanleyAndMcNeilsExample(t *testing.T) {
	rate := func(counts ...int) []int {
		var v []int
		for i, n := range counts {
			for range n {
				v = append(v, i+1)
			}
		}
		return v
	}
	c, err := stats.CompareRatings(rate(33, 6, 6, 11, 2), rate(3, 2, 2, 11, 33), 0.95)
	must(t, err)
	if math.Abs(c.Area-0.893) > 5e-4 || math.Abs(c.SEHanleyMcNeil-0.032) > 5e-4 {
		t.Errorf("area %v, SE %v", c.Area, c.SEHanleyMcNeil)
	}
}

// A perfect separation has no spread of placements, yet is not a certainty.
func TestAPerfectAreaKeepsAnInterval(t *testing.T) {
	c, err := stats.CompareRatings([]int{-4, -2, -1, -3}, []int{1, 2, 3, 4}, 0.95)
	must(t, err)
	if c.Area != 1 || c.SE != 0 || !math.IsNaN(c.DeLong[0]) || !(c.Interval[0] > 0.3 && c.Interval[0] < 0.9) || c.Interval[1] != 1 {
		t.Errorf("%+v", c)
	}
	if math.Abs(c.P-1.0/70) > 1e-12 {
		t.Errorf("p %v, want 1/70", c.P)
	}
}

// The interval has about its nominal coverage of the true area, for normal ratings cut into eight steps: within 4.4 standard
// errors plus 0.02 for a large-sample interval at 20 and 20 trials.
func TestAreaIntervalsCover(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 8))
	const runs = 500
	for _, d := range []float64{0, 1, 2} {
		draw := func(mean float64) []int {
			v := make([]int, 20)
			for i := range v {
				v[i] = int(math.Max(-4, math.Min(3, math.Floor(2*(random.NormFloat64()+mean-d/2)))))
			}
			return v
		}
		truth := trueArea(d)
		covered, called := 0, 0
		for range runs {
			c, err := stats.CompareRatings(draw(0), draw(d), 0.95)
			must(t, err)
			if c.Interval[0] <= truth && truth <= c.Interval[1] {
				covered++
			}
			if c.P <= 0.05 {
				called++
			}
		}
		if share := float64(covered) / runs; share < 0.93-4.4*math.Sqrt(0.95*0.05/runs) {
			t.Errorf("d′ %v: covered in %.4f", d, share)
		}
		if share := float64(called) / runs; d == 0 && share > 0.05+4.4*math.Sqrt(0.95*0.05/runs) {
			t.Errorf("%.4f of random ratings were significant", share)
		}
	}
}

// trueArea is the area for two normal distributions d apart, cut into steps as in the simulation.
func trueArea(d float64) float64 {
	share := func(mean float64, step int) float64 {
		lo, hi := float64(step)/2-mean+d/2, float64(step+1)/2-mean+d/2
		if step == -4 {
			lo = math.Inf(-1)
		}
		if step == 3 {
			hi = math.Inf(1)
		}
		return (math.Erf(hi/math.Sqrt2) - math.Erf(lo/math.Sqrt2)) / 2
	}
	area, below := 0.0, 0.0
	for step := -4; step <= 3; step++ {
		area += share(d, step) * (below + share(0, step)/2)
		below += share(0, step)
	}
	return area
}

func TestRatingsThatCannotBeCompared(t *testing.T) {
	if _, err := stats.CompareRatings(nil, []int{1}, 0.95); err == nil {
		t.Error("no low trials were compared")
	}
	if _, err := stats.CompareRatings([]int{1}, []int{1}, 1); err == nil {
		t.Error("confidence 1 was taken")
	}
}

// The high rating wins four of the 2 × 3 pairs and ties one: 4.5/6.
func ExampleCompareRatings() {
	c, err := stats.CompareRatings([]int{1, 2, 3}, []int{2, 4}, 0.95)
	fmt.Printf("area %.2f, %v\n", c.Area, err)
	// Output: area 0.75, <nil>
}

func BenchmarkCompareRatings(b *testing.B) {
	for _, n := range []int{20, 100, 10_000} {
		random := rand.New(rand.NewPCG(9, 9))
		low, high := make([]int, n), make([]int, n)
		for i := range low {
			low[i], high[i] = 1+random.IntN(4), 1+random.IntN(4)
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for range b.N {
				if _, err := stats.CompareRatings(low, high, 0.95); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
