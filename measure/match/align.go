package match

import (
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
	places []placed // best first
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
	found := candidates(s.courseA, s.courseB, int(100*cfg.minOverlap()))
	// One channel may be inverted, and they may be exchanged besides: B's mix is then not A's, but that with one inverted is.
	for _, second := range []float64{1, -1}[:min(2, a.Format().Channels)] {
		if err := s.tryAll(found, second); err != nil {
			return nil, fmt.Errorf("match: %w", err)
		}
		if s.agrees() {
			return s, nil
		}
	}
	return nil, s.unrelated(fmt.Sprintf("the waveforms agree nowhere for as much as %.1f s", cfg.minOverlap()))
}

// tryAll sets the places to where the waveforms of each candidate say, best first.
func (s *search) tryAll(found []candidate, second float64) error {
	s.places = nil
	for _, c := range found {
		p, err := s.place(c.lag, second)
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

// align goes from a place to a line that is good to a fraction of a frame, clear of slips.
func (s *search) align(p placed) (aligned, error) {
	found := aligned{line: p.line, a: s.courseA, b: s.courseB, kernels: s.kernels}
	found.doubt = s.doubtOf(p)
	slipped, err := found.jumps(s.a, s.b, p, s.places)
	if err != nil {
		return found, err
	}
	if err := found.refine(s); err != nil {
		return found, err
	}
	if slipped, err = found.slips(s, slipped); err != nil {
		return found, err
	}
	if slipped == nil {
		return found, nil
	}
	if l, ok := found.trim(found.line, int(s.rate)/8); ok {
		found.line = l
		if err := found.refine(s); err != nil {
			return found, err
		}
	}
	slipped.measured(found.line)
	slipped.at = found.nearestEnd(slipped.at)
	found.jump = slipped.text(s.rate, found.line)
	return found, nil
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

// slips confines the line where its track shows slips too small for the anchors, one at a time. It returns the first
// that is known.
func (f *aligned) slips(s *search, first *slip) (*slip, error) {
	for range 3 {
		next, ok := f.step()
		if !ok {
			break
		}
		before, track := f.line, f.track
		f.line = f.line.confine(next, s.a, s.b, int(s.rate)/4)
		if err := f.refine(s); err != nil {
			return nil, err
		}
		if first == nil {
			next.by = f.line.beside(next, before, track)
			first = &next
		}
	}
	return first, nil
}

// nearestEnd returns the end of the confined line that is nearer to at.
func (l line) nearestEnd(at float64) float64 {
	if math.Abs(float64(l.from)-at) < math.Abs(float64(l.to)-at) {
		return float64(l.from)
	}
	return float64(l.to)
}

// beside returns by how many frames B stands off the confined line on the other side of the slip, told from the later
// side less the earlier, by the track that was followed through both before.
func (l line) beside(s slip, before line, track []point) float64 {
	sign := 1.0
	if float64(l.from) > s.at {
		sign = -1
	}
	var off []float64
	for _, p := range track {
		if (p.t-s.at)*sign > 0 {
			off = append(off, sign*(p.delay+before.shift(p.t)-l.shift(p.t)))
		}
	}
	return median(off)
}
