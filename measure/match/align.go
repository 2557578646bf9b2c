package match

import (
	"fmt"
	"math"

	"golang.org/x/sync/errgroup"

	"heardiff/playback/pcm"
)

// aligned is what is known of two captures before the residual is looked at.
type aligned struct {
	line
	fine
	a, b       profile
	overlap    [2]int
	confidence float64
	jump       string // a warning, or ""
}

// align finds B's place against A: by its course, by waveforms, then to a fraction of a frame.
func align(a, b pcm.Reader, cfg Config) (aligned, error) {
	var found aligned
	var both errgroup.Group
	both.Go(func() (err error) { found.a, err = profileOf(a); return })
	both.Go(func() (err error) { found.b, err = profileOf(b); return })
	if err := both.Wait(); err != nil {
		return found, err
	}
	best, err := found.choose(a, b, cfg)
	if err != nil {
		return found, err
	}
	found.line = best.line
	found.jump = jump(best, a.Format().Rate)
	found.line, found.fine, err = refine(a, b, best.line)
	if err != nil {
		return found, err
	}
	from, to := found.line.overlap(a, b, 0)
	found.overlap = [2]int{from, to}
	return found, nil
}

// choose compares waveforms for every candidate and takes the one that explains most.
func (f *aligned) choose(a, b pcm.Reader, cfg Config) (placed, error) {
	rate := a.Format().Rate
	var best placed
	var all []placed
	for _, c := range candidates(f.a, f.b, int(100*cfg.minOverlap())) {
		p, err := place(a, b, c.lag)
		if err != nil {
			return best, fmt.Errorf("match: %w", err)
		}
		all = append(all, p)
		if p.explained > best.explained {
			best = p
		}
	}
	if best.matched == 0 || best.matched < 2 && len(best.anchors) > 2 || best.matched*4 < len(best.anchors) {
		return best, fmt.Errorf("match: %w: the waveforms agree nowhere for as much as %.1f s", ErrUnrelated, cfg.minOverlap())
	}
	second := 0.0
	for _, p := range all {
		if math.Abs(p.offset-best.offset) > 0.05*rate.Hz() {
			second = max(second, p.explained)
		}
	}
	f.confidence = 1 - second/best.explained
	return best, nil
}

// jump describes anchors that agree with each other but not with the line: a slip of the recorder or a cut.
func jump(p placed, rate pcm.Rate) string {
	count, at, by := 0, 0.0, 0.0
	for _, k := range p.anchors {
		d := k.shift - p.shift(k.at)
		if k.match >= leastMatch && math.Abs(d) > 10 {
			if count == 0 || math.Abs(d-by) > 3 {
				if count >= 2 {
					break
				}
				count, at, by = 0, k.at, d
			}
			count++
		}
	}
	if count < 2 {
		return ""
	}
	return fmt.Sprintf("B jumps by %.0f samples about %.1f s into A: samples were lost, repeated or cut (a loop point)", by, at/rate.Hz())
}
