package align

import "heardiff/measure/spectrum"

// glanceBlocks is how many stretches of A are nulled at a glance.
const glanceBlocks = 12

// GlanceFloor is the least residual: the quick kernel's own error, −100 dB, depends on the place between two frames.
const GlanceFloor = 1e-9

// Glance returns the residual of a few stretches, each at its own delay, relative to A.
func (s *Search) Glance(l Line) (float64, error) {
	residual := 0.0
	for range 2 { // a fraction of a frame taken out of a block's spectrum leaves −60 dB, so that the line moves to where the blocks are
		g, err := gatherSome(s.a, s.b, l, s.Quick, glanceBlocks, spectrum.PowerOfTwo(int(s.rate)/16))
		if err != nil {
			return 0, err
		}
		c := g.pass(l, 1, false)
		c.join(g.n, make([]float64, s.a.Format().Channels))
		t := newTracker(g, c)
		t.follow(true)
		residual = t.residual()
		l.Offset += t.meanDelay()
	}
	return residual + GlanceFloor, nil
}

// residual returns the power of the residual of all blocks, relative to A.
func (t *tracker) residual() float64 {
	var residual, power float64
	for k := t.g.lo; k < t.g.hi; k++ {
		residual += t.noise[k] * float64(len(t.c.power))
		for _, p := range t.c.power {
			power += p[k]
		}
	}
	return residual / (power + 1e-300)
}

// meanDelay returns the mean of the delays of the blocks that have one, each with the weight of what is known of it.
func (t *tracker) meanDelay() float64 {
	var sum, weight float64
	for _, p := range t.points() {
		sum += p.weight * p.delay
		weight += p.weight
	}
	return sum / (weight + 1e-300)
}
