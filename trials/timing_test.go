package trials

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// The time from a key to its cue must not reveal what X is. Routing is timed for sessions of both assignments in random
// order. A significance test would be inappropriate: 20 000 times reveal the fractions of a nanosecond by which memory
// happens to be placed better for one session than for another. The smallest difference that could be heard or recorded is
// one frame of audio, 1302 ns at the highest rate of 768 kHz; the two medians must agree within a hundredth of it.
func TestRoutingTakesAsLongWhateverIsHidden(t *testing.T) {
	// Many sessions of each, so that their placement in memory averages out.
	var bySource [2][]*Session
	for k := range byte(64) {
		s, _ := begin(t, testPlan(ABX, 1), Seed{k})
		cue, err := s.Route(LabelX)
		if err != nil {
			t.Fatal(err)
		}
		bySource[cue.Source()] = append(bySource[cue.Source()], s)
	}
	const n, calls = 20_000, 20
	r := rand.New(rand.NewPCG(1, 9))
	var times [2][]float64
	for range n {
		source := Source(r.IntN(2))
		s := bySource[source][r.IntN(len(bySource[source]))]
		begun := time.Now()
		for range calls {
			s.Route(LabelX)
		}
		times[source] = append(times[source], float64(time.Since(begun)))
	}
	const frame = 1e9 / 768_000
	a, b := median(times[SourceA])/calls, median(times[SourceB])/calls
	if math.Abs(a-b) > frame/100 {
		t.Errorf("routing takes %.1f ns where X is A and %.1f ns where it is B", a, b)
	}
}

func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	return s[len(s)/2]
}
