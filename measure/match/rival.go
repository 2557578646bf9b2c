package match

import (
	"errors"
	"fmt"
	"math"
	"slices"

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
func (c *comparison) judge() (measured, error) {
	s, err := align.Find(c.a, c.b, c.courseA, c.courseB)
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
	best.known = slices.DeleteFunc(best.known, func(r rival) bool { return r.at(best.Offset) })
	if r := best.correlation(best.record.ChannelFigures(best.k)); !(r >= leastCorrelation) {
		return best, fmt.Errorf("%w: at the best place the captures correlate by only %.2f", align.ErrUnrelated, r)
	}
	return best, nil
}

// rivalsFollowed is how many places after the first are aligned and measured in full: where music repeats, farther compares the others.
const rivalsFollowed = 2

// deepest aligns and measures the first place and its rivals.
func (c *comparison) deepest(s *align.Search) (measured, error) {
	best, err := c.follow(s, s.Places[0])
	if err != nil {
		return best, err
	}
	var beaten []measured
	for _, p := range s.Places[1:] {
		if len(beaten) == rivalsFollowed {
			break
		}
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
	// worthMeasuring is the residual of a glance, relative to the one here, up to which a place may turn out to be the better one. A judgement, no
	// source; TestPlacesThatMayBeBetterAreMeasured holds it.
	worthMeasuring = 1.3
	// fartherMeasured is how many places are measured in full each time, and fartherRounds how many times the place may move.
	fartherMeasured, fartherRounds = 3, 4
)

// farther looks for places as good as m, or better, over both captures from end to end: a drone, or a pad that swells, repeats after the common
// period of its components, which may be long, and each of its places nulls.
func (c *comparison) farther(s *align.Search, m measured) (measured, error) {
	for range fartherRounds {
		places, err := s.Elsewhere(m.Alignment)
		if err != nil {
			return m, err
		}
		better, err := c.bestOf(s, m, places)
		if err != nil || better.Offset == m.Offset {
			return better, err
		}
		m = better
	}
	return m, nil
}

// bestOf returns the better of m and of the places displaced from it, the deepest nulls first, and notes the others.
func (c *comparison) bestOf(s *align.Search, m measured, places []align.Displaced) (measured, error) {
	from, here := m.Alignment, 1.0 // the residual of a glance at the best, relative to the one at from
	var beaten []rival
	glanced := places
	for _, p := range places[:min(len(places), fartherMeasured)] {
		if p.Ratio > worthMeasuring {
			break
		}
		glanced = glanced[1:]
		found, err := s.Refined(from.Later(p.Frames))
		if errors.Is(err, ErrUnrelated) || err == nil && math.Abs(found.Offset-from.Offset) <= align.SamePlaceFrames {
			continue
		}
		if err != nil {
			return m, err
		}
		other, err := c.measure(s, found, m.rivals)
		if err != nil {
			return m, err
		}
		if other.better(m) {
			m, other, here = other, m, p.Ratio
		}
		beaten = append(beaten, rival{offset: other.Offset, residual: other.unexplained()})
	}
	m.add(beaten...)
	for _, p := range glanced {
		m.add(rival{offset: from.Later(p.Frames).Offset, ratio: p.Ratio / here})
	}
	return m, nil
}

// better reports whether m is the deeper null, or as deep over more of the captures.
func (m measured) better(than measured) bool {
	own, other := m.Overlap[1]-m.Overlap[0], than.Overlap[1]-than.Overlap[0]
	switch {
	case float64(own) > moreOverlap*float64(other):
		return m.wiredDB() < than.wiredDB()+muchDeeperDB
	case float64(own) < float64(other)/moreOverlap:
		return m.wiredDB() < than.wiredDB()-muchDeeperDB
	}
	return m.wiredDB() < than.wiredDB()
}

// follow aligns the captures at a place and measures the residual there, or at a better one near it.
func (c *comparison) follow(s *align.Search, p align.Place) (measured, error) {
	found, err := s.Align(p)
	if err != nil {
		return measured{}, err
	}
	others := rivals{share: s.BestOther(p)}
	m, err := c.measure(s, found, others)
	if err != nil {
		return m, err
	}
	// On steady tones a jump by full periods may be no more than a wrong place, and the captures then null without it.
	if len(found.Breaks) > 0 {
		if found, err = s.Unbroken(found); err != nil {
			return m, err
		}
		straight, err := c.measure(s, found, others)
		if err != nil {
			return m, err
		}
		if straight, err = c.reconsidered(s, straight); err != nil || straight.wiredDB() < min(deepNull, m.wiredDB()+muchDeeperDB) {
			return straight, err
		}
	}
	return c.reconsidered(s, m)
}

// correlationDecides is the share of what the best displacement explains up to which correlations at whole frames distinguish two places.
// A judgement, no source; TestAPadWhoseSwellComesBackIsNeverMisplacedSilently holds it.
const correlationDecides = 0.999

// reconsidered compares a place with its neighbours. On a sustained tone every full period is nearly as good to the anchors, which all have
// the same weight; only attack and decay decide, and they count when the entire stretch is correlated at once. Where the null is deep the
// stretch ends within both captures, since a file's ends are no attack and no decay. The deeper null of the two is taken, and the next best
// place is noted.
func (c *comparison) reconsidered(s *align.Search, m measured) (measured, error) {
	reach, stretch := int(rivalReachS*c.rate.Hz()), m.Overlap
	if m.wiredDB() < surelyPlacedDB {
		stretch = [2]int{stretch[0] + reach, stretch[1] - reach}
	}
	return c.amongNeighbours(s, m, stretch, reach)
}

// amongNeighbours notes how much the best other place within reach explains of a stretch; where that is as much, it is measured.
func (c *comparison) amongNeighbours(s *align.Search, m measured, stretch [2]int, reach int) (measured, error) {
	lag, other, ratio, err := s.BestRival(m.Line, stretch, reach)
	switch {
	case err != nil:
		return m, err
	case math.Abs(float64(lag)) > align.SamePlaceFrames:
		return c.deeper(s, m, lag)
	case ratio*ratio > correlationDecides:
		return c.deeper(s, m, other)
	}
	m.share = max(m.share, ratio*ratio)
	return m, nil
}

// deeper measures B so many frames later, too, returns the deeper null of the two, and notes the other.
func (c *comparison) deeper(s *align.Search, m measured, frames int) (measured, error) {
	second, err := s.Refined(m.Later(frames))
	if errors.Is(err, align.ErrUnrelated) {
		return m, nil
	}
	if err != nil {
		return m, err
	}
	other, err := c.measure(s, second, m.rivals)
	if err != nil {
		return m, err
	}
	if other.wiredDB() < m.wiredDB() {
		m, other = other, m
	}
	m.add(rival{offset: other.Offset, residual: other.unexplained()})
	return m, nil
}

// inPlace measures captures that hold the same samples: their offset is 0, even if another place explains as much, as in a steady tone. How
// much it explains is noted.
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
	reach := min(align.RivalFrames, c.a.Frames()) / 8
	return c.amongNeighbours(s, m, [2]int{reach, c.a.Frames() - reach}, reach)
}

// deepNull is the null from which on least squares sets the level: below it the difference is so small
// (0.05 dB at the most if it were all in phase) that loudness could not do better.
const deepNull = -30
