package match

import (
	"errors"
	"fmt"
	"math"

	"heardiff/measure/match/align"
)

// rivalReachS is how far around a place a better one is looked for, in seconds: several periods of the lowest notes.
const rivalReachS = 0.1

// surelyPlacedDB is the null that no neighbouring place of a steady tone could give: a period of 100 Hz in fifteen minutes
// makes −50 dB.
const surelyPlacedDB = -50

// A null over more of the captures, by moreOverlap, counts for more unless the other is deeper by muchDeeperDB. Judgement, no source;
// TestSustainedTonesAreNotPlacedAPeriodApart holds it.
const (
	moreOverlap  = 1.1
	muchDeeperDB = 6
)

// judge follows every place that may be the one, and returns the residual at the one with the deepest null.
func (c *comparison) judge(minOverlapS float64) (measured, error) {
	s, err := align.Find(c.a, c.b, c.courseA, c.courseB, minOverlapS)
	if err != nil {
		return measured{}, err
	}
	var best measured
	if c.identical {
		best, err = c.inPlace(s)
	} else {
		best, err = c.deepest(s)
	}
	if err != nil {
		return best, err
	}
	if r := best.correlation(best.record.ChannelFigures(best.k)); !(r >= leastCorrelation) {
		return best, fmt.Errorf("%w: at the best place the captures correlate by only %.2f", align.ErrUnrelated, r)
	}
	return best, nil
}

// deepest follows the first place and its rivals to their end.
func (c *comparison) deepest(s *align.Search) (measured, error) {
	if err := s.RankRepetitions(); err != nil {
		return measured{}, err
	}
	best, err := c.follow(s, s.Places[0])
	if err != nil {
		return best, err
	}
	var beaten []measured
	for _, p := range s.Places[1:] {
		if !s.WorthFollowing(p) {
			continue
		}
		other, err := c.follow(s, p)
		switch {
		case errors.Is(err, align.ErrUnrelated):
			continue
		case err != nil:
			return best, err
		case other.better(best):
			best, other = other, best
		}
		other.record = nil // it is large
		beaten = append(beaten, other)
	}
	for _, o := range beaten {
		if math.Abs(o.Offset-best.Offset) > align.ApartS*c.rate.Hz() {
			best.add(rival{offset: o.Offset, residual: o.unexplained()})
		}
	}
	return c.farther(s, best)
}

const (
	// periodicShare is the share of what the best displacement explains from which on another is measured: of two that are a whole period of a
	// sustained sound apart, both explain all but the noise. A judgement, no source; TestASustainedChordIsNeverMisplacedSilently holds it.
	periodicShare = 0.99
	// fartherFrames is the longest stretch that is looked at: with an eighth of it the period may be two thirds of a second at 48 kHz.
	fartherFrames = 1 << 18
	// fartherRounds is how many times the place may move: an eighth of the overlap each time.
	fartherRounds = 4
)

// farther looks for places as good as m, or better, over an eighth of the overlap or of fartherFrames: a sustained chord, or a drone, repeats after the period that
// all its partials share, which may be long, and each of its places nulls.
func (c *comparison) farther(s *align.Search, m measured) (measured, error) {
	for range fartherRounds {
		frames := min(fartherFrames, m.Overlap[1]-m.Overlap[0])
		reach := frames / 8
		lag, other, ratio, err := s.BestRival(m.Line, [2]int{m.Overlap[0] + reach, m.Overlap[0] + frames - reach}, reach)
		if err != nil {
			return m, err
		}
		var lags []int
		if math.Abs(float64(lag)) > align.SamePlaceFrames {
			lags = append(lags, lag)
		}
		if ratio*ratio > periodicShare && math.Abs(float64(other)) > align.SamePlaceFrames {
			lags = append(lags, other)
		}
		from, moved := m.Alignment, false
		for _, by := range lags {
			found, err := s.Moved(from, by)
			if err != nil && !errors.Is(err, ErrUnrelated) {
				return m, err
			}
			if err != nil || found.Offset == from.Offset {
				continue
			}
			better, err := c.measure(s, found, m.rivals)
			if err != nil {
				return m, err
			}
			if better.better(m) {
				m, better, moved = better, m, true
			}
			m.add(rival{offset: better.Offset, residual: better.unexplained()})
		}
		if !moved {
			break
		}
	}
	return m, nil
}

// better reports whether m is the deeper null, or as deep over more of the captures.
func (m measured) better(than measured) bool {
	own, other := m.Overlap[1]-m.Overlap[0], than.Overlap[1]-than.Overlap[0]
	switch {
	case float64(own) > moreOverlap*float64(other):
		return m.nullDB() < than.nullDB()+muchDeeperDB
	case float64(own) < float64(other)/moreOverlap:
		return m.nullDB() < than.nullDB()-muchDeeperDB
	}
	return m.nullDB() < than.nullDB()
}

// follow aligns the captures at a place and measures the residual there, or at a better one near it.
func (c *comparison) follow(s *align.Search, p align.Place) (measured, error) {
	found, err := s.Align(p)
	if err != nil {
		return measured{}, err
	}
	others := rivals{share: s.BestOther(p)}
	for _, q := range s.Places {
		if q.GlanceRatio > 0 {
			others.add(rival{offset: q.Offset, ratio: q.GlanceRatio})
		}
	}
	m, err := c.measure(s, found, others)
	if err != nil {
		return m, err
	}
	// On steady tones a jump by whole periods may be no more than a wrong place, and the captures then null without it.
	if len(found.Breaks) > 0 {
		if found, err = s.Unbroken(found); err != nil {
			return m, err
		}
		straight, err := c.measure(s, found, others)
		if err != nil {
			return m, err
		}
		if straight, err = c.reconsidered(s, straight); err != nil || straight.nullDB() < min(deepNull, m.nullDB()+muchDeeperDB) {
			return straight, err
		}
	}
	return c.reconsidered(s, m)
}

// reconsidered looks again at a place whose null is shallow. On a sustained tone every whole period is nearly as good to
// the anchors, which weigh alike; only attack and decay tell, and they count when the whole stretch is correlated at
// once. The deeper null of the two is taken, and how well the next best place does is noted.
func (c *comparison) reconsidered(s *align.Search, m measured) (measured, error) {
	reach := int(rivalReachS * c.rate.Hz())
	if m.nullDB() < surelyPlacedDB {
		return m, m.noteNeighbours(s, reach)
	}
	lag, _, ratio, err := s.BestRival(m.Line, m.Overlap, reach)
	if err != nil {
		return m, err
	}
	if math.Abs(float64(lag)) <= align.SamePlaceFrames {
		m.share = max(m.share, ratio*ratio)
		return m, nil
	}
	second, err := s.Moved(m.Alignment, lag)
	if err != nil {
		return m, err
	}
	other, err := c.measure(s, second, m.rivals)
	if err != nil {
		return m, err
	}
	if other.nullDB() < m.nullDB() {
		m, other = other, m
	}
	m.add(rival{offset: other.Offset, residual: other.unexplained()})
	return m, nil
}

// noteNeighbours notes how well the best place within reach does where both captures go on all the while: a file's ends are no
// attack and no decay.
func (m *measured) noteNeighbours(s *align.Search, reach int) error {
	lag, _, ratio, err := s.BestRival(m.Line, [2]int{m.Overlap[0] + reach, m.Overlap[1] - reach}, reach)
	if err != nil {
		return err
	}
	if math.Abs(float64(lag)) > align.SamePlaceFrames {
		ratio = 1
	}
	m.share = max(m.share, ratio*ratio)
	return nil
}

// inPlace measures captures that hold the same samples: nothing lies between them, however well another
// place may do, as in a steady tone. How well it does is noted.
func (c *comparison) inPlace(s *align.Search) (measured, error) {
	here := align.Line{Sign: 1}
	found, err := s.Refined(here)
	if err != nil {
		return measured{}, err
	}
	found.Line, found.Gain = here, 1
	m, err := c.measure(s, found, rivals{})
	if err != nil {
		return m, err
	}
	for _, q := range s.Places {
		if math.Abs(q.Offset) <= align.ApartS*c.rate.Hz() {
			continue
		}
		residual, err := s.Glance(q.Line)
		if err != nil && !errors.Is(err, align.ErrUnrelated) {
			return m, err
		}
		if err == nil {
			m.add(rival{offset: q.Offset, residual: max(0, residual-align.GlanceFloor)})
		}
	}
	return m, m.noteNeighbours(s, min(align.RivalFrames, c.a.Frames())/8)
}

// deepNull is the null from which on least squares sets the level: below it, what differs weighs so little
// (0.05 dB at the most if it were all in step) that loudness could not do better.
const deepNull = -30
