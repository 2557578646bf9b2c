package measure_test

import (
	"math/rand/v2"
	"testing"

	"heardiff/measure"
)

// The hash of a window depends on its contents alone, not on its place; a plain window has none.
func TestRollerKnowsAWindowByWhatItHolds(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	const n, first, second = 1000, 200, 715
	x := [][]float64{make([]float64, n), make([]float64, n)}
	for c := range x {
		for i := range x[c] {
			x[c][i] = float64(random.IntN(9)-4) / (1 << 15) // quiet words, few of them
		}
		copy(x[c][second:second+measure.RollFrames], x[c][first:first+measure.RollFrames])
		clear(x[c][500:600])
	}
	seen := map[uint64]int{}
	var roller measure.Roller
	for i := range n {
		hash, ok := roller.Write(measure.RollWord(x, i))
		if plain := i < measure.RollFrames-1 || i >= 500+measure.RollFrames && i < 600; plain && ok {
			t.Fatalf("the window that ends at %d is plain, or none", i)
		}
		if before, known := seen[hash]; ok && known && (before != first+measure.RollFrames-1 || i != second+measure.RollFrames-1) {
			t.Fatalf("windows that end at %d and %d are taken for one", before, i)
		}
		if ok {
			seen[hash] = i
		}
	}
	if len(seen) < n-measure.RollFrames-100 {
		t.Errorf("only %d windows", len(seen))
	}
	var other measure.Roller
	for i := second; i < second+measure.RollFrames-1; i++ {
		other.Write(measure.RollWord(x, i))
	}
	if hash, ok := other.Write(measure.RollWord(x, second+measure.RollFrames-1)); !ok || seen[hash] != second+measure.RollFrames-1 && seen[hash] != first+measure.RollFrames-1 {
		t.Error("the same words have another hash elsewhere")
	}
}
