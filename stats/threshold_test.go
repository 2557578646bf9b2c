package stats_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"gonum.org/v1/gonum/mat"

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
	cfg := stats.TrackConfig{Placing: p, LevelsDB: rungsDB(), Guess: guess, Prior: stats.PriorFor(0, 60), Limit: limit, Down: 3, Steps: []int{4, 2, 1}}
	if p == stats.PlacedBayes {
		cfg.PlainEvery = 10
	}
	return cfg
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

// accuracy sums up many runs after a number of trials; bias and rms are over those that have a threshold.
type accuracy struct{ bias, rms, within, covered, halfWidth, none float64 }

// after sums up the runs after 10·(i + 1) trials: within is the error that 95 % of them do not exceed, halfWidth the mean over intervals
// with two ends, none the share of runs without a threshold.
func after(runs []listened, i int) accuracy {
	var a accuracy
	var missed []float64
	n, found, bounded := float64(len(runs)), 0.0, 0.0
	for _, r := range runs {
		e := r.estimates[i]
		if !(e.IntervalDB[0] > r.truth) && !(e.IntervalDB[1] < r.truth) {
			a.covered += 1 / n
		}
		if w := (e.IntervalDB[1] - e.IntervalDB[0]) / 2; !math.IsNaN(w) {
			a.halfWidth, bounded = a.halfWidth+w, bounded+1
		}
		off := e.ThresholdDB - r.truth
		if math.IsNaN(off) {
			a.none += 1 / n
			missed = append(missed, math.Inf(1))
			continue
		}
		a.bias, a.rms, found = a.bias+off, a.rms+off*off, found+1
		missed = append(missed, math.Abs(off))
	}
	a.bias, a.rms, a.halfWidth = a.bias/found, math.Sqrt(a.rms/found), a.halfWidth/bounded
	slices.Sort(missed)
	a.within = missed[int(0.95*n)]
	return a
}

func simulatedRuns(t *testing.T, p stats.Placing, guess, slope, lapse float64, limit, runs int) []listened {
	t.Helper()
	track := newTrack(t, trackConfig(p, guess, limit))
	all := make([]listened, runs)
	eachRun(runs, func(i int) {
		all[i] = listen(track, guess, slope, lapse, rand.New(rand.NewPCG(uint64(1000*slope)<<32+uint64(1000*lapse)<<8+uint64(p), uint64(i))))
	})
	return all
}

// eachRun calls run with 0 to runs − 1, as many at a time as there are processors.
func eachRun(runs int, run func(i int)) {
	var all sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		all.Go(func() {
			for i := range next {
				run(i)
			}
		})
	}
	for i := range runs {
		next <- i
	}
	close(next)
	all.Wait()
}

// thresholdRow is a row of the table of threshold runs in the package comment.
type thresholdRow struct {
	procedure                  string
	guess, slope, lapse        float64
	trials                     int
	bias, within, covers, half float64
	needed, bound, unknown     string
}

// chance is the exact chance level, which the table rounds.
func (r thresholdRow) chance() float64 {
	if r.guess < 0.4 {
		return 1.0 / 3
	}
	return r.guess
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
		if n, _ := fmt.Sscan(line, &r.procedure, &r.guess, &r.slope, &r.lapse, &r.trials, &r.bias, &r.within, &r.covers, &r.half, &r.needed, &r.bound, &r.unknown); n == 12 {
			rows = append(rows, r)
		}
	}
	if len(rows) == 0 {
		t.Fatal("no rows of threshold runs in the package comment")
	}
	return rows
}

// runs is the number of runs behind a row of the table: more where a target is near.
func (r thresholdRow) runs() int {
	switch {
	case r.trials > 1000:
		return 100
	case r.trials > 250:
		return 200
	case r.procedure == "bayes" && r.slope <= 2 && r.guess == 0.5:
		return 2000
	}
	return 400
}

// needed is the number of trials from which 95 % of the runs stay within 2 dB, "–" where they never do.
func needed(runs []listened) string {
	n := len(runs[0].estimates)
	for n > 0 && after(runs, n-1).within <= 2 {
		n--
	}
	if n == len(runs[0].estimates) {
		return "–"
	}
	return fmt.Sprint(10 * (n + 1))
}

// What the package comment says of threshold runs, simulated: within four standard errors of both simulations. The default run does the first
// row, a few times; -full logs every row as the table has it.
func TestThresholdRunsAsPublished(t *testing.T) {
	rows := publishedRows(t)
	if !*stats.Full {
		rows = rows[:1]
	}
	for _, r := range rows {
		t.Run(fmt.Sprintf("%s %v %v %v %d", r.procedure, r.guess, r.slope, r.lapse, r.trials), func(t *testing.T) {
			var p stats.Placing
			if err := p.UnmarshalText([]byte(r.procedure)); err != nil {
				t.Fatal(err)
			}
			published := float64(r.runs())
			count := 12
			if *stats.Full {
				count = r.runs()
			}
			runs := simulatedRuns(t, p, r.chance(), r.slope, r.lapse, r.trials, count)
			a := after(runs, r.trials/10-1)
			t.Logf("row %-9s %8.2f %6v %6v %7d %6.2f %5.2f %7.2f %5.1f %7s, without a threshold %.3f", r.procedure, r.guess, r.slope, r.lapse, r.trials,
				a.bias, a.within, a.covered, a.halfWidth, needed(runs), a.none)
			sd, either := r.within/1.96, 1/float64(count)+1/published
			if se := sd * math.Sqrt(either); math.Abs(a.bias-r.bias) > 4*se {
				t.Errorf("bias %.2f ± %.2f, %.2f is published", a.bias, se, r.bias)
			}
			if math.Abs(math.Log(a.rms/sd)) > 4*math.Sqrt(either/2) {
				t.Errorf("an error of %.2f rms, %.2f is published", a.rms, sd)
			}
			if miss := math.Sqrt(r.covers * (1 - r.covers + 0.01) * either); math.Abs(a.covered-r.covers) > 4*miss {
				t.Errorf("the interval covers in %.2f of the runs, %.2f is published", a.covered, r.covers)
			}
		})
	}
}

// The targets of Bayesian runs: a bias below 0.5 dB, at slopes below 1 after 2000 trials; ± 2 dB within 180 trials without lapses and 250
// with 3 %; and, however the doses are placed, intervals that cover to within three standard errors of the simulation.
func TestThresholdRunsReachTheirTargets(t *testing.T) {
	most := map[float64]int{0: 180, 0.03: 250}
	for _, r := range publishedRows(t) {
		if r.procedure == "bayes" && (r.slope >= 1 || r.trials >= 2000) && math.Abs(r.bias) >= 0.5 {
			t.Errorf("%+v: the bias reaches 0.5 dB", r)
		}
		if limit, asked := most[r.lapse]; asked && r.procedure == "bayes" && r.slope == 2 && r.guess == 0.5 && (r.trials > limit || r.within > 2) {
			t.Errorf("%+v: more than %d trials", r, limit)
		}
		if se := math.Sqrt(0.95 * 0.05 / float64(r.runs())); r.covers < 0.95-3*se {
			t.Errorf("%+v: the intervals fall short", r)
		}
	}
}

// A listener of slope 2 who lapses on 5 % of the trials is right as often as expected at the doses of a run of 250 trials, and wrong once where
// all is heard. That one answer shows that there are lapses.
func TestTheEstimateAllowsForLapses(t *testing.T) {
	grid, err := stats.NewThresholdGrid(rungsDB(), 0.5, stats.PriorFor(0, 60))
	if err != nil {
		t.Fatal(err)
	}
	spread := []int{3, 7, 24, 69, 86, 35, 11, 5, 4} // trials from 10 dB below the threshold up, every 2.5 dB
	counts := make([]stats.Count, len(rungsDB()))
	for i, n := range spread {
		p := 0.5 + 0.45*(1-math.Pow(2, -math.Pow(10, 2*(2.5*float64(i)-10)/20)))
		counts[8+i] = stats.Count{Correct: int(math.Round(float64(n) * p)), Trials: n}
	}
	counts[20] = stats.Count{Correct: 9, Trials: 10} // 20 dB above it
	e, err := grid.Estimate(counts)
	// The same likelihood by scipy 1.10.1: logsumexp over the slopes, the largest of the lapse rates, optimize.minimize_scalar (bounded, xatol
	// 1e-8) over the threshold. The parabola through thresholds 0.5 dB apart puts it at 29.8640, since another lapse rate is the likeliest at
	// the next of them.
	const want = 29.8296
	if err != nil || math.Abs(e.ThresholdDB-want) > 0.05 || math.Abs(e.ThresholdDB-29.8640) > 0.0005 {
		t.Errorf("threshold %.4f dB, lapses %.3f, want %v; %v", e.ThresholdDB, e.Lapse, want, err)
	}
}

// One trial in ten of a Bayesian track is at the highest rung, whatever the answers; the others are where they would be without.
func TestPlainTrialsOfATrack(t *testing.T) {
	cfg := trackConfig(stats.PlacedBayes, 0.5, 400)
	track, random, plain := newTrack(t, cfg), rand.New(rand.NewPCG(8, 8)), 0
	for track.Left() > 0 {
		lot := 1
		without := track.Next(func(int) int { return 1 })
		rung := track.Next(func(n int) int { lot = random.IntN(n); return lot })
		switch {
		case lot == 0 && rung != track.Rungs()-1, lot != 0 && rung != without:
			t.Fatalf("lot %d: rung %d, %d without plain trials", lot, rung, without)
		case lot == 0:
			plain++
		}
		track = track.After(rung, rung > 12 || random.IntN(2) == 0)
	}
	if plain < 20 || plain > 62 { // 40 are expected, with a standard deviation of 6
		t.Errorf("%d plain trials of 400", plain)
	}
}

// leastTrials is the Fisher bound: the fewest trials at which 1.96 standard errors of an unbiased estimate of the threshold are 2 dB, if every dose is
// placed as if the listener were known, on rungs 2.5 dB apart from 30 dB below the threshold to headroomDB above it. The slope is not known, nor
// is the lapse rate where unknown is 3. The weights of the rungs are the best ones, by the multiplicative algorithm for c-optimal designs.
func leastTrials(guess, slope, lapse float64, unknown int, headroomDB float64) float64 {
	chance := func(x, s, l float64) float64 { return guess + (1-guess-l)*(1-math.Pow(2, -math.Pow(10, s*x/20))) }
	const h = 1e-4
	var at [][3]float64 // derivatives by threshold, slope and lapse rate, per standard deviation of an answer
	var weight []float64
	for x := -30.0; x <= headroomDB; x += 2.5 {
		p := min(chance(x, slope, lapse), 1-1e-12)
		root := math.Sqrt(p * (1 - p))
		at = append(at, [3]float64{(chance(x-h, slope, lapse) - chance(x+h, slope, lapse)) / (2 * h) / root,
			(chance(x, slope*(1+h), lapse) - chance(x, slope*(1-h), lapse)) / (2 * h) / root,
			(chance(x, slope, lapse+h) - chance(x, slope, lapse-h)) / (2 * h) / root})
	}
	for range at {
		weight = append(weight, 1/float64(len(at)))
	}
	variance := 0.0
	for range 4000 {
		information := mat.NewSymDense(unknown, nil)
		for i, w := range weight {
			information.SymRankOne(information, w, mat.NewVecDense(unknown, at[i][:unknown]))
		}
		var first mat.VecDense // of the inverse
		unit := mat.NewVecDense(unknown, nil)
		unit.SetVec(0, 1)
		if first.SolveVec(information, unit) != nil {
			break // every trial at the threshold itself: the bound is reached
		}
		variance = first.AtVec(0)
		sum := 0.0
		for i := range weight {
			weight[i] *= math.Abs(mat.Dot(&first, mat.NewVecDense(unknown, at[i][:unknown])))
			sum += weight[i]
		}
		for i := range weight {
			weight[i] /= sum
		}
	}
	return variance * (1.96 / 2) * (1.96 / 2)
}

func TestTheFisherBoundAsPublished(t *testing.T) {
	known := map[[3]float64][2]string{}
	for _, r := range publishedRows(t) {
		of := [3]float64{r.guess, r.slope, r.lapse}
		if _, done := known[of]; !done {
			known[of] = [2]string{fmt.Sprintf("%.0f", leastTrials(r.chance(), r.slope, r.lapse, 2, 30)), fmt.Sprintf("%.0f", leastTrials(r.chance(), r.slope, r.lapse, 3, 30))}
		}
		if known[of] != [2]string{r.bound, r.unknown} {
			t.Errorf("%+v: the bounds are %s trials", r, known[of])
		}
	}
	// The same by Elfving's theorem, as a linear program: min Σ(a + b) with Σ(a_i − b_i)·f_i = e₁, whose square is the variance; scipy 1.10.1,
	// linprog, method highs.
	for _, c := range []struct {
		guess, slope, lapse, headroomDB, want float64
		unknown                               int
	}{{0.5, 2, 0, 30, 113, 2}, {1.0 / 3, 2, 0, 30, 75, 2}, {0.5, 2, 0.05, 30, 230, 3}, {0.5, 1, 0.05, 30, 919, 3}, {0.5, 0.5, 0.05, 30, 4571, 3}, {0.5, 0.5, 0.05, 15, 105_685, 3}} {
		if got := leastTrials(c.guess, c.slope, c.lapse, c.unknown, c.headroomDB); math.Abs(got-c.want) > 0.5+0.005*c.want { // rounded
			t.Errorf("%+v: %.1f trials", c, got)
		}
	}
	for _, c := range []struct{ slope, headroomDB, want float64 }{{1, 30, 2.0}, {0.5, 30, 4.4}, {0.5, 15, 21}} {
		// n trials for 1.96 standard errors of 2 dB are, after 250, a standard error of √(n/250)·2/1.96.
		se := math.Sqrt(leastTrials(0.5, c.slope, 0.05, 3, c.headroomDB)/250) * 2 / 1.96
		if math.Abs(se-c.want) > 0.05 {
			t.Errorf("slope %v, the top rung %v dB above the threshold: a standard error of %.2f dB, %v is published", c.slope, c.headroomDB, se, c.want)
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
	for _, correct := range []bool{true, false} { // a listener who always or never hears it bounds the threshold on one side alone
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

// endedRow is a row of the table of runs that end within 2 dB in the package comment.
type endedRow struct {
	mark                            string
	slope, lapse                    float64
	early, median, late             int
	undone, within, covering, ended float64
}

// endedRuns is how many runs a row of that table is from.
const endedRuns = 100

// publishedEnds reads the table of runs that end within 2 dB in the package comment.
func publishedEnds(t *testing.T) []endedRow {
	t.Helper()
	page, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	var rows []endedRow
	for _, line := range strings.Split(string(page), "\n") {
		var r endedRow
		n, _ := fmt.Sscan(strings.TrimPrefix(line, "//"), &r.mark, &r.slope, &r.lapse, &r.early, &r.median, &r.late, &r.undone, &r.within, &r.covering, &r.ended)
		if n == 10 && r.mark == "within" {
			rows = append(rows, r)
		}
	}
	if len(rows) == 0 {
		t.Fatal("no runs that end within 2 dB in the package comment")
	}
	return rows
}

// Runs that end when their interval is narrow enough, or after 500 trials: how long they take, and that the interval at which they stop
// covers to within three standard errors. The default run checks the table; -full simulates every row, logs it as the table has it, and
// holds the table to it.
func TestRunsThatEndWithin2dB(t *testing.T) {
	se := math.Sqrt(0.95 * 0.05 / endedRuns)
	for _, r := range publishedEnds(t) {
		if r.covering < 0.95-3*se {
			t.Errorf("%+v: the intervals fall short", r)
		}
		if *stats.Full {
			t.Run(fmt.Sprint(r.slope, " ", r.lapse), func(t *testing.T) { r.holds(t, ended(t, r.slope, r.lapse, endedRuns)) })
		}
	}
}

// ended simulates runs that end within 2 dB, and returns their row.
func ended(t *testing.T, slope, lapse float64, count int) endedRow {
	cfg := trackConfig(stats.PlacedBayes, 0.5, 500)
	cfg.WithinDB = 2
	track := newTrack(t, cfg)
	truths, done := make([]float64, count), make([]stats.Track, count)
	eachRun(count, func(k int) {
		random := rand.New(rand.NewPCG(uint64(1000*slope)<<32+uint64(1000*lapse), uint64(k)))
		truth, at := 15+30*random.Float64(), track
		for at.Left() > 0 {
			i := at.Next(random.IntN)
			p := 0.5 + (0.5-lapse)*(1-math.Pow(2, -math.Pow(10, slope*(rungsDB()[i]-truth)/20)))
			at = at.After(i, random.Float64() < p)
		}
		truths[k], done[k] = truth, at
	})
	var trials []int
	var missed []float64
	r := endedRow{mark: "within", slope: slope, lapse: lapse}
	undone, held, heldOfEnded := 0, 0, 0
	for k, at := range done {
		e := at.Estimate()
		trials, missed = append(trials, at.Trials()), append(missed, math.Abs(e.ThresholdDB-truths[k]))
		covers := !(e.IntervalDB[0] > truths[k]) && !(e.IntervalDB[1] < truths[k])
		if covers {
			held++
		}
		if at.HalfWidthDB() > 2 {
			undone++
		} else if covers {
			heldOfEnded++
		}
	}
	n := float64(count)
	slices.Sort(trials)
	slices.Sort(missed)
	r.early, r.median, r.late, r.within = trials[count/20], trials[count/2], trials[count-1-count/20], missed[count-1-count/20]
	r.undone, r.covering, r.ended = float64(undone)/n, float64(held)/n, float64(heldOfEnded)/float64(count-undone)
	return r
}

// holds compares the published row with a simulated one: medians to a fifth, shares to four standard errors.
func (r endedRow) holds(t *testing.T, got endedRow) {
	t.Logf("row %-6s %6v %6v %6d %7d %6d %7.2f %6.1f %7.2f %6.2f", got.mark, got.slope, got.lapse, got.early, got.median, got.late, got.undone, got.within, got.covering, got.ended)
	if math.Abs(math.Log(float64(got.median)/float64(r.median))) > 0.2 {
		t.Errorf("%d trials in the median, %d are published", got.median, r.median)
	}
	share := func(of string, got, published, runs float64) {
		if math.Abs(got-published) > 4*math.Sqrt(0.25/runs) {
			t.Errorf("%s: %.2f, %.2f is published", of, got, published)
		}
	}
	share("not done", got.undone, r.undone, endedRuns)
	share("covered", got.covering, r.covering, endedRuns)
	share("covered of those that ended", got.ended, r.ended, endedRuns*(1-r.undone))
}

// The longest ladder, a hundred rungs over 140 dB, is within what a prior may hold.
func TestTheLongestLadderHasAPrior(t *testing.T) {
	cfg := trackConfig(stats.PlacedBayes, 0.5, 250)
	cfg.LevelsDB, cfg.Prior = nil, stats.PriorFor(0, 140)
	for i := range 100 {
		cfg.LevelsDB = append(cfg.LevelsDB, 140*float64(i)/99)
	}
	if err := cfg.Validate(); err != nil {
		t.Error(err)
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
	cfg := trackConfig(stats.PlacedBayes, 0.5, 1_000_000)
	cfg.WithinDB = 0.01 // checked after each answer, and never reached
	start := newTrack(b, cfg)
	for range 30 { // before that it is not checked
		start = start.After(12, true)
	}
	random := rand.New(rand.NewPCG(1, 2))
	for b.Loop() {
		i := start.Next(random.IntN)
		start.After(i, true)
	}
}
