package match

import (
	"cmp"
	"fmt"

	"heardiff/playback/pcm"
)

// Config says how captures are compared. The zero value is the usual way.
type Config struct {
	// MinOverlapS is the shortest overlap that is compared, in seconds. 0: 1.
	MinOverlapS float64
}

func (c Config) minOverlap() float64 { return cmp.Or(c.MinOverlapS, 1) }

// shortestOverlapS is the least that Config takes: below it there are too few blocks for a delay's error to be estimated.
const shortestOverlapS = 0.2

// Validate returns an error that names the field that is out of its range.
func (c Config) Validate() error {
	if !(c.minOverlap() >= shortestOverlapS) {
		return fmt.Errorf("match: an overlap of %v s: want %v s or more", c.MinOverlapS, shortestOverlapS)
	}
	return nil
}

// Compare measures how B differs from A. The readers are read block by block, each by one goroutine; they must
// not be the same unless it is a pcm.Clip.
//   - pcm.ErrMismatch, wrapped: rates or channel counts differ.
//   - ErrUnrelated, wrapped: nothing common was found, or too little; ErrMono, which wraps it, where one is mono.
func Compare(a, b pcm.Reader, cfg Config) (Result, error) {
	found, err := compare(a, b, cfg)
	return found.Result, err
}

// compare is the method: look at each capture, search for the places where B may lie, align B at each and measure the residual, judge which
// it is, and report that one.
func compare(a, b pcm.Reader, cfg Config) (finding, error) {
	if err := comparable(a, b, cfg); err != nil {
		return finding{}, err
	}
	c, err := look(a, b)
	if err != nil {
		return finding{}, fmt.Errorf("match: %w", err)
	}
	best, err := c.judge(cfg.minOverlap())
	if err != nil {
		return finding{}, c.explained(err)
	}
	return best.report(c), nil
}

func comparable(a, b pcm.Reader, cfg Config) error {
	if err := cfg.Validate(); err != nil {
		return err
	}
	fa, fb := a.Format(), b.Format()
	if fa.Rate != fb.Rate {
		return fmt.Errorf("match: %w: %d Hz against %d Hz", pcm.ErrMismatch, fa.Rate, fb.Rate)
	}
	if fa.Channels != fb.Channels {
		return fmt.Errorf("match: %w: %d channels against %d", pcm.ErrMismatch, fa.Channels, fb.Channels)
	}
	return nil
}
