package match

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/measure/spectrum"
)

const (
	maxRepetitions = 160 // that are looked at: a loop of two seconds in five minutes
	quickAnchors   = 4   // that tell a repetition
	glances        = 12  // stretches of A that are nulled at each
	// What is left at a place that holds the music, beside another voice: more is left at one of two stretches with a cut
	// between them. A judgement, no source.
	repeated = 0.3
)

// repeat looks, where music repeats, at every repetition, and sets first the one that nulls deepest. Their courses and their
// waveforms may be alike to a thousandth, so that neither the candidates' order nor their anchors tell; what differs each time
// does, in a null over a few short stretches.
func (s *search) repeat() error {
	if !s.repeats() {
		return nil
	}
	places := s.places
	for _, c := range s.more[:min(len(s.more), maxRepetitions)] {
		p, err := s.place(c, s.manner, quickAnchors)
		if err != nil {
			return fmt.Errorf("match: %w", err)
		}
		if s.near(p) {
			places = append(places, p)
		}
	}
	left, err := s.glanceAll(places)
	if err != nil {
		return err
	}
	order := make([]int, len(places))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(left[i], left[j]) })
	if !(left[order[0]] < repeated) {
		return nil
	}
	return s.rank(places, left, order)
}

// pursued is how many repetitions besides the first are followed to their end where what is left is nearly as little.
const pursued = 2

// rank sets the place that nulls deepest first, and after it those to be followed to their end. Of the others, how many times as
// much is left at the best of them is noted.
func (s *search) rank(places []placed, left []float64, order []int) error {
	var out []placed
	for _, i := range order {
		p, times := places[i], left[i]/left[order[0]]
		switch {
		case slices.ContainsFunc(out, func(q placed) bool { return !s.elsewhere(p, q) }): // the same
		case len(out) <= pursued && times < 2:
			full, err := s.place(s.candidate(p.line), s.manner, maxAnchors)
			if err != nil {
				return fmt.Errorf("match: %w", err)
			}
			out = append(out, full)
		case left[i] < repeated:
			p.glanced = true
			if s.beside == 0 || times < s.beside {
				s.beside = times
			}
			out = append(out, p)
		default:
			out = append(out, p)
		}
	}
	s.places = out
	return nil
}

// candidate returns the candidate that stands for a line: true in the middle of what it lets overlap.
func (s *search) candidate(l line) candidate {
	from, to := l.overlap(s.a, s.b, 0)
	middle := float64(from+to) / 2
	return candidate{lag: (l.shift(middle) - s.manner.drift*middle) / (1 + s.manner.drift)}
}

// repeats reports whether another place explains nearly as much as the first.
func (s *search) repeats() bool {
	for _, p := range s.places {
		if s.elsewhere(s.places[0], p) && s.near(p) {
			return true
		}
	}
	return false
}

// glanceAll returns what is left at each place that is near, relative to A, and +Inf at others.
func (s *search) glanceAll(places []placed) ([]float64, error) {
	left := make([]float64, len(places))
	for i, p := range places {
		left[i] = math.Inf(1)
		if !s.near(p) {
			continue
		}
		l, err := s.glance(p.line)
		if errors.Is(err, ErrUnrelated) {
			continue
		}
		if err != nil {
			return nil, err
		}
		left[i] = l
	}
	return left, nil
}

// glanceFloor is what is left at the least: the quick kernel's own error, −100 dB, is another between other frames.
const glanceFloor = 1e-9

// glance returns what is left of a few stretches, each at its own delay, relative to A.
func (s *search) glance(l line) (float64, error) {
	g, err := gatherSome(s.a, s.b, l, s.quick, glances, spectrum.PowerOfTwo(int(s.rate)/16))
	if err != nil {
		return 0, err
	}
	c := g.pass(l, 1, false)
	c.join(g.n, make([]float64, s.a.Format().Channels))
	t := newTracker(g, c)
	t.follow(true)
	var left, power float64
	for k := g.lo; k < g.hi; k++ {
		left += t.noise[k] * float64(len(c.power))
		for _, p := range c.power {
			power += p[k]
		}
	}
	return left/(power+1e-300) + glanceFloor, nil
}
