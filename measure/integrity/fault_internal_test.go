package integrity

import (
	"slices"
	"testing"
)

// A filter's ringing in a mute, 26 dB below what is expected, counts as nothing received; more does not.
func TestWhatAFilterRingsIsNothing(t *testing.T) {
	for level, want := range map[float64]bool{0: true, 0.04: true, 0.06: false} {
		c := &comparison{
			a: [][]float64{slices.Repeat([]float64{0.5}, 1000)}, b: [][]float64{slices.Repeat([]float64{0.5 * level}, 1000)}, tolerances: []tolerance{{share: 0.1}},
		}
		if got := c.zeros(0, 100, 899); got != want {
			t.Errorf("%v of what is expected counts as nothing: %v", level, got)
		}
	}
}
