package match

import (
	"fmt"

	"heardiff/playback/pcm"
)

// Compare measures how B differs from A. The readers are read block by block, each by one goroutine; they must
// not be the same unless it is a pcm.Clip.
//   - pcm.ErrMismatch, wrapped: rates or channel counts differ.
//   - ErrUnrelated, wrapped: nothing common was found, or too little; ErrMono, which wraps it, where one is mono.
func Compare(a, b pcm.Reader) (Result, error) {
	found, err := compare(a, b)
	return found.Result, err
}

// compare is the method: look at each capture, search for the places where B may lie, align B at each and measure the residual, judge which
// it is, and report that one.
func compare(a, b pcm.Reader) (finding, error) {
	if err := comparable(a, b); err != nil {
		return finding{}, err
	}
	c, err := look(a, b)
	if err != nil {
		return finding{}, fmt.Errorf("match: %w", err)
	}
	best, err := c.judge()
	if err != nil {
		return finding{}, c.explained(err)
	}
	return best.report(c), nil
}

func comparable(a, b pcm.Reader) error {
	fa, fb := a.Format(), b.Format()
	if fa.Rate != fb.Rate {
		return fmt.Errorf("match: %w: %d Hz against %d Hz", pcm.ErrMismatch, fa.Rate, fb.Rate)
	}
	if fa.Channels != fb.Channels {
		return fmt.Errorf("match: %w: %d channels against %d", pcm.ErrMismatch, fa.Channels, fb.Channels)
	}
	return nil
}
