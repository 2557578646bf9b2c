package tone

import (
	"math/rand/v2"
	"testing"
)

// What is loud at the end of a stretch alone is what the fit left there; a stretch ends each second.
func TestTheEndsOfStretchesAreNoBursts(t *testing.T) {
	for _, f := range []struct {
		name        string
		from, to    int // frames of the second stretch that are 30 dB louder
		count, part int // … and the piece, counted from the first, in which that begins
	}{
		{"none", 0, 0, 0, 0},
		{"within", 10_000, 10_048, 1, 2416},
		{"at its beginning", 0, 200, 0, 0},
		{"just after its beginning", 96, 144, 1, 2004},
		{"at its end", 47_900, 48_000, 0, 0},
		{"all of it", 0, 48_000, 0, 0},
	} {
		random := rand.New(rand.NewPCG(9, 9))
		b := bursts{size: 24}
		for stretch := range 4 {
			x := make([]float64, 48_000)
			for i := range x {
				x[i] = 1e-6 * random.NormFloat64()
				if stretch == 1 && i >= f.from && i < f.to {
					x[i] *= 32
				}
			}
			b.write(x)
		}
		if count, first := b.end(); count != f.count || first.piece != f.part {
			t.Errorf("%s: %d bursts, the first in piece %d; want %d, %d", f.name, count, first.piece, f.count, f.part)
		}
	}
}
