package align

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"heardiff/measure/spectrum"
)

const (
	maxRepetitions = 160 // that are looked at: a loop of two seconds in five minutes
	quickAnchors   = 4   // that a repetition is found by
	glanceBlocks   = 12  // stretches of A that are nulled at each
	// leastRepetition is the largest residual at a place that holds the music under another voice; of two stretches with a cut between
	// them it is larger. A judgement, no source.
	leastRepetition = 0.3
)

// RankRepetitions nulls every repetition of music that repeats, and puts the deepest null first. Their courses and their waveforms may be
// alike to a thousandth, so that neither the candidates' order nor their anchors decide; what differs each time does, in a null over a few
// short stretches.
func (s *Search) RankRepetitions() error {
	if !s.repeats() {
		return nil
	}
	places := s.Places
	for _, c := range s.untried[:min(len(s.untried), maxRepetitions)] {
		p, err := s.tryCandidate(c, s.assumption, quickAnchors)
		if err != nil {
			return err
		}
		if s.isRival(p) {
			places = append(places, p)
		}
	}
	residual, err := s.glanceAt(places)
	if err != nil {
		return err
	}
	order := make([]int, len(places))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(residual[i], residual[j]) })
	if !(residual[order[0]] < leastRepetition) {
		return nil
	}
	return s.rankPlaces(places, residual, order)
}

// repetitionsFollowed is how many repetitions after the first are aligned and measured in full where their residual is less than twice its.
const repetitionsFollowed = 2

// rankPlaces puts the place of the deepest null first, then those to be measured in full. For the others a glance is enough.
func (s *Search) rankPlaces(places []Place, residual []float64, order []int) error {
	var out []Place
	for _, i := range order {
		p, times := places[i], residual[i]/residual[order[0]]
		switch {
		case slices.ContainsFunc(out, func(q Place) bool { return !s.apart(p, q) }): // the same
		case len(out) <= repetitionsFollowed && times < 2:
			full, err := s.tryCandidate(s.candidate(p.Line), s.assumption, maxAnchors)
			if err != nil {
				return err
			}
			out = append(out, full)
		case residual[i] < leastRepetition:
			p.GlanceRatio = times
			out = append(out, p)
		default:
			out = append(out, p)
		}
	}
	s.Places = out
	return nil
}

// candidate returns the candidate of a line, exact in the middle of the overlap.
func (s *Search) candidate(l Line) candidate {
	from, to := l.Overlap(s.a, s.b, 0)
	middle := float64(from+to) / 2
	return candidate{lag: (l.Shift(middle) - s.assumption.drift*middle) / (1 + s.assumption.drift)}
}

// repeats reports whether another place explains nearly as much as the first.
func (s *Search) repeats() bool {
	for _, p := range s.Places {
		if s.apart(s.Places[0], p) && s.isRival(p) {
			return true
		}
	}
	return false
}

// glanceAt returns the residual at each place that is a rival, relative to A, and +Inf at others.
func (s *Search) glanceAt(places []Place) ([]float64, error) {
	residual := make([]float64, len(places))
	for i, p := range places {
		residual[i] = math.Inf(1)
		if !s.isRival(p) {
			continue
		}
		l, err := s.Glance(p.Line)
		if errors.Is(err, ErrUnrelated) {
			continue
		}
		if err != nil {
			return nil, err
		}
		residual[i] = l
	}
	return residual, nil
}

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
