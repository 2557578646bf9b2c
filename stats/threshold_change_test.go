package stats_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/stats"
)

// answeredAt returns the simulated answers of a Weibull listener, as many at each rung.
func answeredAt(thresholdDB, slope, lapse float64, each int, random *rand.Rand) []stats.Count {
	counts := make([]stats.Count, len(rungsDB()))
	for i, level := range rungsDB() {
		p := 0.5 + (0.5-lapse)*(1-math.Pow(2, -math.Pow(10, slope*(level-thresholdDB)/20)))
		counts[i].Trials = each
		for range each {
			if random.Float64() < p {
				counts[i].Correct++
			}
		}
	}
	return counts
}

// A change of 6 dB between two halves of 100 answers is in the interval, to within three standard errors, with lapses and without; and in
// nine of ten runs the interval is narrower than the one from two estimates that each learn slope and lapse rate anew.
func TestTheChangeOfAThresholdCovers(t *testing.T) {
	grid, err := stats.NewThresholdGrid(rungsDB(), 0.5, stats.PriorFor(0, 60))
	if err != nil {
		t.Fatal(err)
	}
	runs := 40
	if *stats.Full {
		runs = 1000
	}
	for _, c := range []struct{ slope, lapse float64 }{{1, 0.05}, {2, 0}, {4, 0.03}} {
		random := rand.New(rand.NewPCG(uint64(10*c.slope), 6))
		covered, narrower, mean := 0, 0, 0.0
		for range runs {
			first, second := answeredAt(27, c.slope, c.lapse, 4, random), answeredAt(33, c.slope, c.lapse, 4, random)
			change, err := grid.Change(first, second)
			a, errA := grid.Estimate(first)
			b, errB := grid.Estimate(second)
			if err != nil || errA != nil || errB != nil {
				t.Fatal(err, errA, errB)
			}
			mean += change.DB / float64(runs)
			if change.IntervalDB[0] <= 6 && 6 <= change.IntervalDB[1] {
				covered++
			}
			if apart := math.Hypot(a.IntervalDB[1]-a.IntervalDB[0], b.IntervalDB[1]-b.IntervalDB[0]); !(change.IntervalDB[1]-change.IntervalDB[0] > apart) {
				narrower++
			}
		}
		n := float64(runs)
		t.Logf("slope %v, lapses %v: %.2f dB in the mean, covered %.3f, narrower %.3f", c.slope, c.lapse, mean, float64(covered)/n, float64(narrower)/n)
		if share := float64(covered) / n; share < 0.95-3*math.Sqrt(0.95*0.05/n) {
			t.Errorf("slope %v, lapses %v: the interval covers in %.3f of the runs", c.slope, c.lapse, share)
		}
		if float64(narrower) < 0.9*n {
			t.Errorf("slope %v, lapses %v: the interval is narrower in %d of %d runs", c.slope, c.lapse, narrower, runs)
		}
	}
}

// The same answers twice are no change, with an interval as far to either side; answers that bound no threshold determine no change.
func TestTheChangeOfNothing(t *testing.T) {
	grid, err := stats.NewThresholdGrid(rungsDB(), 0.5, stats.PriorFor(0, 60))
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 1))
	some, deaf := answeredAt(30, 2, 0, 6, random), answeredAt(300, 2, 0, 6, random)
	c, err := grid.Change(some, some)
	if err != nil || math.Abs(c.DB) > 1e-9 || math.Abs(c.IntervalDB[0]+c.IntervalDB[1]) > 1e-9 || c.FirstDB != c.SecondDB || math.Abs(c.FirstDB-30) > 6 {
		t.Errorf("%+v, %v", c, err)
	}
	if c, err = grid.Change(some, deaf); err != nil || !math.IsNaN(c.DB) || !math.IsNaN(c.IntervalDB[0]) {
		t.Errorf("who hears nothing in the end: %+v, %v", c, err)
	}
	if _, err = grid.Change(some, some[1:]); err == nil {
		t.Error("counts of another ladder were taken")
	}
}
