package fault

import (
	"math"
	"testing"

	"heardiff/measure/match/residual"
)

// The level of a band counts where it is known in four seconds and in a quarter of them, and is within 20 dB of A's.
func TestABandsCourseIsKnownInEnoughSeconds(t *testing.T) {
	for _, c := range []struct {
		seconds, known int
		db             float64
		counts         bool
	}{{12, 4, 0, true}, {12, 3, 0, false}, {40, 10, 0, true}, {40, 9, 0, false}, {12, 12, 19, true}, {12, 12, -21, false}} {
		r := &residual.Record{Rate: 48000}
		for i := range c.seconds {
			db := math.NaN()
			if i < c.known {
				db = c.db
			}
			r.BlockGains = append(r.BlockGains, residual.BlockGain{At: i * 48000, DB: [][]float64{{db}}})
		}
		if n := len(Evidence{Record: r}.courseOf(0)); (n == 1) != c.counts {
			t.Errorf("%+v: %d bands count", c, n)
		}
	}
}
