package stats_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"heardiff/stats"
)

// rungsDB are 25 rungs of 2.5 dB over 60 dB.
func rungsDB() []float64 {
	var l []float64
	for i := range 25 {
		l = append(l, 2.5*float64(i))
	}
	return l
}

func trackConfig(p stats.Placing, guess float64, limit int) stats.TrackConfig {
	return stats.TrackConfig{Placing: p, LevelsDB: rungsDB(), Guess: guess, Prior: stats.PriorFor(0, 60), Limit: limit, Down: 3, Steps: []int{4, 2, 1}}
}

func newTrack(t testing.TB, cfg stats.TrackConfig) stats.Track {
	t.Helper()
	track, err := stats.NewTrack(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return track
}

// listened is one simulated run: the estimate after every tenth trial, and the truth.
type listened struct {
	truth     float64
	estimates []stats.ThresholdEstimate
}

// listen runs one simulated listener, whose chance of a right answer is written out here, through a track.
func listen(track stats.Track, guess, slope, lapse float64, random *rand.Rand) listened {
	l := listened{truth: 15 + 30*random.Float64()}
	for n := 1; track.Left() > 0; n++ {
		i := track.Next(random.IntN)
		x := math.Pow(10, (rungsDB()[i]-l.truth)/20)
		p := guess + (1-guess-lapse)*(1-math.Pow(2, -math.Pow(x, slope)))
		track = track.After(i, random.Float64() < p)
		if n%10 == 0 {
			l.estimates = append(l.estimates, track.Estimate())
		}
	}
	return l
}

// accuracy is what many runs come to after a number of trials.
type accuracy struct{ bias, rms, within, covered, halfWidth float64 }

// after sums up the runs after 10·(i + 1) trials: within is the error that 95 % of them keep.
func after(runs []listened, i int) accuracy {
	var a accuracy
	var missed []float64
	n := float64(len(runs))
	for _, r := range runs {
		e := r.estimates[i]
		off := e.ThresholdDB - r.truth
		if math.IsNaN(off) {
			off = 60 // no threshold at all
		}
		a.bias += off / n
		a.rms += off * off / n
		missed = append(missed, math.Abs(off))
		if !(e.IntervalDB[0] > r.truth) && !(e.IntervalDB[1] < r.truth) {
			a.covered += 1 / n
		}
		a.halfWidth += (e.IntervalDB[1] - e.IntervalDB[0]) / 2 / n
	}
	slices.Sort(missed)
	a.rms, a.within = math.Sqrt(a.rms), missed[int(0.95*n)]
	return a
}

func simulatedRuns(t *testing.T, p stats.Placing, guess, slope, lapse float64, limit, runs int) []listened {
	t.Helper()
	track := newTrack(t, trackConfig(p, guess, limit))
	random := rand.New(rand.NewPCG(uint64(1000*slope), uint64(1000*lapse)+uint64(p)))
	all := make([]listened, runs)
	for i := range all {
		all[i] = listen(track, guess, slope, lapse, random)
	}
	return all
}

// thresholdRow is a row of the table of threshold runs in the package comment.
type thresholdRow struct {
	procedure                  string
	guess, slope, lapse        float64
	trials                     int
	bias, within, covers, half float64
	needed, bound              string
}

// publishedRows reads the table of threshold runs in the package comment.
func publishedRows(t *testing.T) []thresholdRow {
	t.Helper()
	page, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	var rows []thresholdRow
	for _, line := range strings.Split(string(page), "\n") {
		var r thresholdRow
		line = strings.ReplaceAll(strings.TrimPrefix(line, "//"), "−", "-")
		if n, _ := fmt.Sscan(line, &r.procedure, &r.guess, &r.slope, &r.lapse, &r.trials, &r.bias, &r.within, &r.covers, &r.half, &r.needed, &r.bound); n == 11 {
			rows = append(rows, r)
		}
	}
	if len(rows) == 0 {
		t.Fatalf("%d rows of threshold runs in the package comment", len(rows))
	}
	return rows
}

// What the package comment says of threshold runs, simulated: within four standard errors of both simulations (the table's of 100 runs or
// more, of constant stimuli 50). The default run does the first row, a few times.
func TestThresholdRunsAsPublished(t *testing.T) {
	rows, runs := publishedRows(t), 12
	if *stats.Full {
		runs = 200
	} else {
		rows = rows[:1]
	}
	for _, r := range rows {
		var p stats.Placing
		if err := p.UnmarshalText([]byte(r.procedure)); err != nil {
			t.Fatal(err)
		}
		guess := r.guess
		if guess < 0.4 {
			guess = 1.0 / 3
		}
		a := after(simulatedRuns(t, p, guess, r.slope, r.lapse, r.trials, runs), r.trials/10-1)
		sd := r.within / 1.96
		se := sd * math.Sqrt(1/float64(runs)+1.0/50)
		t.Logf("%s %.2f %g %g %d: %.2f %.2f %.2f %.2f", r.procedure, r.guess, r.slope, r.lapse, r.trials, a.bias, a.within, a.covered, a.halfWidth)
		if math.Abs(a.bias-r.bias) > 4*se {
			t.Errorf("%+v: bias %.2f ± %.2f", r, a.bias, se)
		}
		if spread := math.Sqrt(1/(2*float64(runs)) + 1/(2*50.0)); math.Abs(math.Log(a.rms/sd)) > 4*spread {
			t.Errorf("%+v: an error of %.2f rms, %.2f is published", r, a.rms, sd)
		}
		if miss := math.Sqrt(r.covers * (1 - r.covers + 0.01) * (1/float64(runs) + 1.0/50)); math.Abs(a.covered-r.covers) > 4*miss {
			t.Errorf("%+v: the interval covers in %.2f of the runs", r, a.covered)
		}
	}
}

// leastTrials is the Fisher bound: the fewest trials at which an unbiased estimate of the threshold has 1.96 standard errors of 2 dB, the slope
// unknown and the lapse rate known, were every dose placed as if the listener were known. The best weights of doses on a fine grid, by the
// multiplicative algorithm for c-optimal designs.
func leastTrials(guess, slope, lapse float64) float64 {
	chance := func(x, s float64) float64 { return guess + (1-guess-lapse)*(1-math.Pow(2, -math.Pow(10, s*x/20))) }
	const h, n = 1e-4, 121
	var dt, ds, weight [n]float64
	for i := range n {
		x := (float64(i) - n/2) * 0.5 / slope
		p := chance(x, slope)
		root := math.Sqrt(p * (1 - p))
		dt[i] = (chance(x-h, slope) - chance(x+h, slope)) / (2 * h) / root
		ds[i] = (chance(x, slope*(1+h)) - chance(x, slope*(1-h))) / (2 * h) / root
		weight[i] = 1.0 / n
	}
	variance := 0.0
	for range 4000 {
		var tt, ts, ss float64
		for i, w := range weight {
			tt, ts, ss = tt+w*dt[i]*dt[i], ts+w*dt[i]*ds[i], ss+w*ds[i]*ds[i]
		}
		det, sum := tt*ss-ts*ts, 0.0
		variance = ss / det
		for i := range weight {
			weight[i] *= math.Abs(dt[i]*ss-ds[i]*ts) / det
			sum += weight[i]
		}
		for i := range weight {
			weight[i] /= sum
		}
	}
	return variance * (1.96 / 2) * (1.96 / 2)
}

func TestTheFisherBoundAsPublished(t *testing.T) {
	for _, r := range publishedRows(t) {
		guess := r.guess
		if guess < 0.4 {
			guess = 1.0 / 3
		}
		if got := fmt.Sprintf("%.0f", leastTrials(guess, r.slope, r.lapse)); got != r.bound {
			t.Errorf("%+v: the bound is %s trials", r, got)
		}
	}
}

// A track is done at the precision asked for, not before 30 trials, or at its limit.
func TestATrackEndsAtItsPrecision(t *testing.T) {
	cfg := trackConfig(stats.PlacedBayes, 0.5, 300)
	cfg.WithinDB = 6
	random := rand.New(rand.NewPCG(5, 5))
	track := newTrack(t, cfg)
	for track.Left() > 0 {
		i := track.Next(random.IntN)
		track = track.After(i, random.Float64() < 1-0.5*math.Pow(2, -math.Pow(10, 2*(rungsDB()[i]-30)/20)))
	}
	if n := track.Trials(); n < 30 || n >= 300 || track.HalfWidthDB() > 6 {
		t.Errorf("done after %d trials within %.2f dB", n, track.HalfWidthDB())
	}
	for _, correct := range []bool{true, false} { // who always or never hears bounds the threshold on one side alone
		track := newTrack(t, trackConfig(stats.PlacedBayes, 0.5, 100))
		for track.Left() > 0 {
			track = track.After(track.Next(random.IntN), correct || random.IntN(2) == 0)
		}
		e := track.Estimate()
		if open := e.IntervalDB[1]; !math.IsNaN(e.ThresholdDB) || correct == math.IsNaN(open) {
			t.Errorf("correct %v: %+v", correct, e)
		}
	}
}

// Constant stimuli give each rung once before any comes again; a staircase begins at the highest rung and stays within them.
func TestRungsOfTheClassicalProcedures(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	track := newTrack(t, trackConfig(stats.PlacedConstant, 0.5, 100))
	for round := range 4 {
		seen := map[int]bool{}
		for range 25 {
			i := track.Next(random.IntN)
			seen[i], track = true, track.After(i, true)
		}
		if len(seen) != 25 {
			t.Errorf("round %d: %d of 25 rungs", round+1, len(seen))
		}
	}
	track = newTrack(t, trackConfig(stats.PlacedStaircase, 0.5, 200))
	if i := track.Next(random.IntN); i != 24 {
		t.Errorf("a staircase begins at rung %d", i)
	}
	var rungs []int
	for track.Left() > 0 {
		i := track.Next(random.IntN)
		rungs, track = append(rungs, i), track.After(i, track.Trials() < 150)
	}
	if want := []int{24, 24, 24, 20, 20, 20, 16}; !slices.Equal(rungs[:7], want) || slices.Min(rungs) != 0 || rungs[199] != 24 {
		t.Errorf("three down, one up: %v", rungs)
	}
}

func BenchmarkNextDoseOfAThresholdRun(b *testing.B) {
	start := newTrack(b, trackConfig(stats.PlacedBayes, 0.5, 1_000_000))
	random := rand.New(rand.NewPCG(1, 2))
	for b.Loop() {
		i := start.Next(random.IntN)
		start.After(i, true)
	}
}
