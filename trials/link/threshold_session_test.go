package link_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/trials"
	"heardiff/trials/link"
)

// drifting is a threshold run trial by trial, each rung in turn, of a listener whose threshold is the first until half the trials are done, and then the second.
func drifting(firstDB, secondDB float64, each int, random *rand.Rand) link.Heard {
	h := ranThreshold("L1", "", "random-jitter", firstDB, 2, 0, random)
	rungs := h.Plan.Threshold.Tracks[0].Rungs
	for n := range each * len(rungs) {
		at, threshold := n%len(rungs), firstDB
		if 2*n >= each*len(rungs) {
			threshold = secondDB
		}
		r := trials.TrialResult{Trial: n + 1, Comparison: rungs[at].Comparison}
		r.Correct = random.Float64() < 1-0.5*math.Pow(2, -math.Pow(10, 2*(rungs[at].LevelDB-threshold)/20))
		h.Trials = append(h.Trials, r)
		h.Tallies[at].Trials++
		if r.Correct {
			h.Tallies[at].Correct++
		}
	}
	return h
}

// A threshold that rises by 15 dB within a session is reported to have changed by about as much; one that does not change is reported as
// possibly unchanged.
func TestDriftWithinASession(t *testing.T) {
	for _, c := range []struct {
		second  float64
		changed bool
	}{{75, true}, {60, false}} {
		all, err := link.OfSession(drifting(60, c.second, 12, rand.New(rand.NewPCG(3, 3))))
		if err != nil || len(all) != 1 || all[0].Drift == nil {
			t.Fatalf("%+v, %v", all, err)
		}
		d := all[0].Drift
		if truth := c.second - 60; !(d.IntervalDB[0] <= truth && truth <= d.IntervalDB[1]) || c.changed != (d.IntervalDB[0] > 0 || d.IntervalDB[1] < 0) || math.Abs(d.FirstDB-60) > 8 {
			t.Errorf("%v dB: %+v", truth, d)
		}
		if c.changed == strings.Contains(d.Says, "so that it may not have changed") {
			t.Error(d.Says)
		}
		t.Log(d.Says)
	}
}
