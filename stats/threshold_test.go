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

// needed returns after how many trials 95 % of the runs are within 2 dB, and stay so; 0 for never.
func needed(runs []listened) int {
	last := 0
	for i := len(runs[0].estimates) - 1; i >= 0; i-- {
		if after(runs, i).within > 2 {
			break
		}
		last = 10 * (i + 1)
	}
	return last
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

func TestSIM(t *testing.T) {
	if os.Getenv("SIM") == "" {
		t.Skip()
	}
	var p, limit, runs int
	var g, s, l float64
	fmt.Sscan(os.Getenv("SIM"), &p, &g, &s, &l, &limit, &runs)
	r := simulatedRuns(t, stats.Placing(p), g, s, l, limit, runs)
	for i := range r[0].estimates {
		if (i+1)%3 == 0 {
			fmt.Printf("%v g %.2f s %g l %g n %d: %.2f\n", stats.Placing(p), g, s, l, 10*(i+1), after(r, i))
		}
	}
	fmt.Println("needed", needed(r))
}

func BenchmarkNextDoseOfAThresholdRun(b *testing.B) {
	start := newTrack(b, trackConfig(stats.PlacedBayes, 0.5, 1_000_000))
	random := rand.New(rand.NewPCG(1, 2))
	for b.Loop() {
		i := start.Next(random.IntN)
		start.After(i, true)
	}
}

var _ = strings.Cut
