package align

import (
	"slices"
	"testing"
)

// A line is left for one that fits better where the anchors together say so by half a correlation, and no sooner.
func TestAPathChangesItsLineOnEvidenceAlone(t *testing.T) {
	for better, changes := range map[float64]bool{0.08: false, 0.12: true} { // five anchors, each by so much
		fits := [][]float64{{0.9, 0.1}, {0.9, 0.1}}
		for range 5 {
			fits = append(fits, []float64{0.8, 0.8 + better})
		}
		if path := bestPath(fits); slices.Contains(path, 1) != changes {
			t.Errorf("five anchors better by %v each: path %v", better, path)
		}
	}
}
