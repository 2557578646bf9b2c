// Package align finds where one capture lies in another: candidates from the course of their octave bands, anchors whose waveforms agree,
// segments between jumps, and a line of offset and drift that the phases of all blocks fix to a fraction of a frame.
//
// Positions are frames. A is the reference: frame t of A is at offset + t·(1 + drift) of B.
package align

import (
	"fmt"
	"math"
	"sort"

	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// Search looks for where A lies in B. It holds what is the same for every place that is tried.
type Search struct {
	a, b        pcm.Reader
	rate        pcm.Rate
	leastFrames float64 // that captures must overlap by
	courseA     Course
	audible.Kernels
	Places []Place // best first
}

// Find compares waveforms at every place that the courses of both captures suggest. The overlap is to last leastOverlapS at the least.
func Find(a, b pcm.Reader, courseA, courseB Course) (*Search, error) {
	s := &Search{a: a, b: b, rate: a.Format().Rate, leastFrames: leastOverlapS * a.Format().Rate.Hz(), courseA: courseA}
	var err error
	if s.Kernels, err = audible.NewKernels(s.rate); err != nil {
		return nil, err
	}
	for _, m := range assumptions(a.Format().Channels) {
		if err := s.tryAll(candidates(courseA, courseB.stretched(m.drift), 100*leastOverlapS), m); err != nil {
			return nil, err
		}
		if s.agrees() {
			return s, nil
		}
	}
	return nil, fmt.Errorf("%w: the waveforms agree nowhere for as much as %.1f s, looked for with clocks up to %.0f ppm apart and white noise up to %d dB below the music",
		ErrUnrelated, float64(leastOverlapS), 1e6*farDrift, quietNoiseDB)
}

// leastOverlapS is the shortest overlap that is compared, in seconds. A judgement, no source; TestTooShortAnOverlapIsRefusedAndAShortOneSaid holds it.
const leastOverlapS = 1

// farDrift is how far apart clocks may be: consumer clocks of level II (IEC 60958-3; the value comes from memory) are good to
// 1000 ppm.
const farDrift = 1100e-6

// quietNoiseDB is how far below the music white noise must be for its place to be found.
const quietNoiseDB = 10

// assumptions returns those under which a place is sought until one finds it, the most likely first. One channel may be inverted, and
// they may be exchanged as well: B's mix is then not A's, but the mix with one channel inverted is.
func assumptions(channels int) []assumption {
	var out []assumption
	for _, drift := range []float64{0, farDrift - strayDrift, strayDrift - farDrift} {
		for _, second := range []float64{1, -1}[:min(2, channels)] {
			out = append(out, assumption{second: second, drift: drift, treble: true})
		}
	}
	for _, second := range []float64{1, -1}[:min(2, channels)] {
		out = append(out, assumption{second: second})
	}
	return out
}

// maxTried is how many candidates are tried: where music repeats, Elsewhere compares the repetitions.
const maxTried = 6

// tryAll sets the places to those at which the waveforms of each candidate agree, best first.
func (s *Search) tryAll(found []candidate, m assumption) error {
	s.Places = nil
	tried := min(len(found), maxTried)
	// Files cut alike are common, and a sustained sound has no course to go by.
	for _, c := range append(found[:tried:tried], candidate{}) {
		p, err := s.tryCandidate(c, m)
		if err != nil {
			return err
		}
		s.Places = append(s.Places, p)
	}
	sort.SliceStable(s.Places, func(i, j int) bool { return s.Places[i].explained > s.Places[j].explained })
	return nil
}

// leastAgreed is the share of the anchors, each weighted by A's level there, that must agree at the best place. A judgement, no source;
// TestUnrelatedCapturesAreRefused holds it.
const leastAgreed = 0.25

// fewAnchors is the number of anchors from which on a single match may be chance. A judgement, no source; TestOneAnchorOfManyMayBeChance
// holds it.
const fewAnchors = 3

// agrees reports whether enough of the waveforms agree at the best place.
func (s *Search) agrees() bool {
	if len(s.Places) == 0 {
		return false
	}
	p := s.Places[0]
	return p.matched > 0 && (p.matched > 1 || len(p.anchors) < fewAnchors) && p.agreed >= leastAgreed
}

// ApartS is how far apart two places are that are not the same, in seconds.
const ApartS = 0.05

// apart reports whether two places are not the same.
func (s *Search) apart(p, q Place) bool { return math.Abs(p.Offset-q.Offset) > ApartS*s.rate.Hz() }

const (
	anchorS = 0.2 // seconds of an anchor, or fewer frames down to leastAnchor, where the overlap does not hold anchorsInOverlap of them
	// A judgement, no source; TestAnchorsAndBlocksFitIntoTheOverlap holds it.
	leastAnchor, anchorsInOverlap = 1024, 3
	candidateS                    = 0.03 // how well the course of the bands places a candidate: three hops
	strayDrift                    = 4e-4 // by which clocks may stray, from the middle on, within the reach of an anchor
)

// tryCandidate compares waveforms at stretches spread over what sounds in the overlap of the candidate, and fits a line to where they were
// found.
func (s *Search) tryCandidate(c candidate, m assumption) (Place, error) {
	rate := s.rate.Hz()
	l := Line{Offset: c.lag * (1 + m.drift), Drift: m.drift, Sign: 1}
	from, to := l.Overlap(s.a, s.b, 0)
	n := spectrum.Halved(spectrum.PowerOfTwo(int(rate*anchorS)), leastAnchor, (to-from)/anchorsInOverlap)
	if to-from < n {
		return Place{}, nil
	}
	places, share := s.courseA.sounding(from, to, n)
	sounds := share * float64(to-from)
	if sounds < s.leastFrames/2 {
		return Place{}, nil
	}
	places = evenly(places, maxAnchors)
	reach := int(candidateS*rate + strayDrift*float64(to-from)/2)
	h := anchorSearch{a: s.a, b: s.b, offset: math.Round(l.Offset), n: n, reach: reach, assumption: m}
	found, err := h.find(places)
	if err != nil {
		return Place{}, err
	}
	p := fitAnchors(found, m.drift, sounds)
	p.search = h
	return p, nil
}

// evenly returns n of the places, evenly spread from first to last, or all where they are no more.
func evenly(places []int, n int) []int {
	if len(places) <= n {
		return places
	}
	out := make([]int, n)
	for i := range out {
		out[i] = places[i*(len(places)-1)/(n-1)]
	}
	return out
}

// rivalShare is the share of what the best place explains from which on another is tried in full as well: by anchors two places compare to
// some per cent.
const rivalShare = 0.9

// isRival reports whether p explains so much that it is tried in full.
func (s *Search) isRival(p Place) bool { return p.explained >= rivalShare*s.Places[0].explained }

// WorthFollowing reports whether p is another place than the first, and explains so much that it is tried in full.
func (s *Search) WorthFollowing(p Place) bool {
	return s.apart(s.Places[0], p) && s.isRival(p)
}

// BestOther returns how much the best of the places that are not tried in full explains, as a share of what p explains.
func (s *Search) BestOther(p Place) float64 {
	share := 0.0
	for _, q := range s.Places {
		if s.apart(p, q) && !s.isRival(q) {
			share = max(share, q.explained/p.explained)
		}
	}
	return share
}
