package match

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"golang.org/x/sync/errgroup"

	"heardiff/playback/pcm"
)

// aligned is what is known of two captures before the residual is looked at.
type aligned struct {
	line
	fine
	a, b profile
	kernels
	overlap [2]int
	skipped float64 // share of the whole overlap that the line leaves out, beside a jump
	doubt
	jump string // a warning, or ""
}

// search holds what is the same for every place that is tried.
type search struct {
	a, b             pcm.Reader
	rate             pcm.Rate
	least            float64 // frames that captures must overlap by
	courseA, courseB profile
	kernels
	places []placed    // best first
	manner             // in which they were found
	more   []candidate // not tried yet: as alike in their course as they may be where music repeats
	beside float64     // how many times as much as at the first place is left at the best repetition of it, see repeat; 0: none
}

// newSearch reads both captures through and compares waveforms at every place that their courses suggest.
func newSearch(a, b pcm.Reader, cfg Config) (*search, error) {
	s := &search{a: a, b: b, rate: a.Format().Rate, least: cfg.minOverlap() * a.Format().Rate.Hz()}
	var both errgroup.Group
	both.Go(func() (err error) { s.kernels, err = bandKernels(s.rate); return })
	both.Go(func() (err error) { s.courseA, err = profileOf(a); return })
	both.Go(func() (err error) { s.courseB, err = profileOf(b); return })
	if err := both.Wait(); err != nil {
		return nil, err
	}
	for _, m := range manners(a.Format().Channels) {
		if err := s.tryAll(candidates(s.courseA, s.courseB.stretched(m.drift), int(100*cfg.minOverlap())), m); err != nil {
			return nil, fmt.Errorf("match: %w", err)
		}
		if s.agrees() {
			return s, nil
		}
	}
	return nil, s.unrelated(fmt.Sprintf("the waveforms agree nowhere for as much as %.1f s, looked for with clocks up to %.0f ppm apart and white noise up to %d dB below the music",
		cfg.minOverlap(), 1e6*farDrift, quietNoiseDB))
}

// farDrift is how far apart clocks may be: consumer clocks of level II (IEC 60958-3; the value comes from memory) are good to
// 1000 ppm.
const farDrift = 1100e-6

// quietNoiseDB is how far below the music white noise may stand for its place to be found.
const quietNoiseDB = 10

// manners returns in which ways the place is sought until one finds it, the most likely first. One channel may be inverted, and
// they may be exchanged besides: B's mix is then not A's, but that with one inverted is.
func manners(channels int) []manner {
	var out []manner
	for _, drift := range []float64{0, farDrift - 4e-4, 4e-4 - farDrift} {
		for _, second := range []float64{1, -1}[:min(2, channels)] {
			out = append(out, manner{second: second, drift: drift, treble: true})
		}
	}
	for _, second := range []float64{1, -1}[:min(2, channels)] {
		out = append(out, manner{second: second})
	}
	return out
}

// maxTried is how many candidates are tried before it is known that music repeats.
const maxTried = 6

// tryAll sets the places to where the waveforms of each candidate say, best first.
func (s *search) tryAll(found []candidate, m manner) error {
	s.places, s.manner = nil, m
	tried := min(len(found), maxTried)
	s.more = found[tried:]
	// Files cut alike are common, and a sustained sound has no course to go by.
	for _, c := range append(found[:tried:tried], candidate{}) {
		p, err := s.place(c, m, maxAnchors)
		if err != nil {
			return err
		}
		s.places = append(s.places, p)
	}
	sort.SliceStable(s.places, func(i, j int) bool { return s.places[i].explained > s.places[j].explained })
	return nil
}

// agrees reports whether enough of the waveforms agree at the best place.
func (s *search) agrees() bool {
	if len(s.places) == 0 {
		return false
	}
	p := s.places[0]
	return p.matched > 0 && (p.matched > 1 || len(p.anchors) < 3) && p.agreed >= 0.25
}

// apartS is how far apart two places are that are not the same, in seconds.
const apartS = 0.05

// elsewhere reports whether two places are not the same.
func (s *search) elsewhere(p, q placed) bool { return math.Abs(p.offset-q.offset) > apartS*s.rate.Hz() }

// align goes from a place to a line that is good to a fraction of a frame, clear of jumps.
func (s *search) align(p placed) (aligned, error) {
	lines, err := s.stretches(p)
	if err != nil {
		return aligned{}, err
	}
	var pieces []aligned
	unfit := s.unrelated("no stretch of the overlap holds enough in common")
	for _, l := range lines {
		found := aligned{line: l, a: s.courseA, b: s.courseB, kernels: s.kernels}
		found.doubt = s.doubtOf(p)
		parts, err := found.pieces(s, 3)
		switch {
		case errors.Is(err, ErrUnrelated): // nothing common there, as beside a dropout
			continue
		case err != nil:
			return found, err
		}
		pieces = append(pieces, parts...)
	}
	if len(pieces) == 0 {
		return aligned{}, unfit
	}
	return s.longest(pieces)
}

// longest returns the longest of the pieces, clear of what does not fit at its ends, and says where B jumps between any two.
func (s *search) longest(pieces []aligned) (aligned, error) {
	found, which := pieces[0], 0
	for i, p := range pieces {
		if p.overlap[1]-p.overlap[0] > found.overlap[1]-found.overlap[0] {
			found, which = p, i
		}
	}
	slips := between(pieces, s.rate.Hz()/4)
	if len(slips) == 0 {
		return found, nil
	}
	if l, ok := found.trim(found.line, int(s.rate)/8); ok {
		found.line = l
		if err := found.refine(s); err != nil {
			return found, err
		}
		// What was trimmed reaches to the jump.
		if which > 0 {
			slips[which-1].at = min(slips[which-1].at, float64(l.from))
		}
		if which < len(slips) {
			slips[which].at = max(slips[which].at, float64(l.to))
		}
	}
	found.jump = told(slips, s.rate, found.line)
	return found, nil
}

// between returns where B jumps from one piece to the next: in the middle of what lies between them, or where the first ends if
// that is more than the margins on either side. What follows then is missing in B.
func between(pieces []aligned, margin float64) []slip {
	var out []slip
	for i := 1; i < len(pieces); i++ {
		l, m := pieces[i-1].line, pieces[i].line
		at := min(float64(l.to+m.from)/2, float64(l.to)+margin)
		out = append(out, slip{at: at, by: m.shift(at) - l.shift(at)})
	}
	return out
}

// pieces refines the line and divides it where its track shows slips, and each part again, so many times at the most.
func (f aligned) pieces(s *search, depth int) ([]aligned, error) {
	if err := f.refine(s); err != nil {
		return nil, err
	}
	slips := f.steps()
	if len(slips) == 0 || depth == 0 {
		return []aligned{f}, nil
	}
	var out []aligned
	part := f
	from, to := f.line.overlap(s.a, s.b, 0)
	margin := int(s.rate) / 4
	for i := range len(slips) + 1 {
		part.from, part.to = from, to
		if i > 0 {
			part.from = int(slips[i-1].at) + margin
			part.offset += slips[i-1].by
		}
		if i < len(slips) {
			part.to = int(slips[i].at) - margin
		}
		parts, err := part.pieces(s, depth-1)
		if errors.Is(err, ErrUnrelated) {
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, parts...)
	}
	return out, nil
}

// refine moves the line to where the waveforms say, see refine.
func (f *aligned) refine(s *search) (err error) {
	f.line, f.fine, err = refine(s.a, s.b, f.line, f.quick)
	f.overlap[0], f.overlap[1] = f.line.overlap(s.a, s.b, 0)
	whole := f.line
	whole.from, whole.to = 0, 0
	from, to := whole.overlap(s.a, s.b, 0)
	f.skipped = 1 - float64(f.overlap[1]-f.overlap[0])/float64(to-from)
	return err
}
