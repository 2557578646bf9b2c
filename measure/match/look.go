package match

import (
	"errors"
	"fmt"
	"slices"

	"golang.org/x/sync/errgroup"

	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"
)

// comparison is what is known of two captures while the place of B is still sought.
type comparison struct {
	a, b               pcm.Reader
	rate               pcm.Rate
	courseA, courseB   align.Course
	captureA, captureB *fault.Capture
	identical          bool // every sample, from the first to the last
}

// look reads both captures from end to end.
func look(a, b pcm.Reader) (*comparison, error) {
	c := &comparison{a: a, b: b, rate: a.Format().Rate}
	var err error
	if c.identical, err = equal(a, b); err != nil {
		return nil, err
	}
	var both errgroup.Group
	both.Go(func() (err error) { c.courseA, c.captureA, err = lookAt(a); return })
	both.Go(func() (err error) { c.courseB, c.captureB, err = lookAt(b); return })
	return c, both.Wait()
}

// hopsAtOnce is how many hops of a capture are read at once.
const hopsAtOnce = 64

// lookAt reads a capture once, for the course of its bands and for the faults that it shows by itself.
func lookAt(r pcm.Reader) (align.Course, *fault.Capture, error) {
	h := audible.NewHops(r.Format().Rate)
	bands, noted := align.NewCourse(h.Frames), fault.NewCapture(r.Format(), r.Frames(), h.Frames)
	err := pcm.Blocks(r, hopsAtOnce*h.Frames, func(block [][]float64, _ int) error {
		noted.Add(block)
		for from := 0; from+h.Frames <= len(block[0]); from += h.Frames {
			power, cut := h.Of(block, from)
			bands.Add(power, h.BinHz)
			noted.AddHop(block, from, power, h.BinHz, cut)
		}
		return nil
	})
	bands.Close()
	return bands, noted, err
}

// explained returns the error of a search that found nothing; the reason may be that one capture alone is mono.
func (c *comparison) explained(err error) error {
	if text := fault.MonoText(c.captureA, c.captureB); text != "" && errors.Is(err, align.ErrUnrelated) {
		return fmt.Errorf("match: %s, and %w", text, ErrMono)
	}
	return fmt.Errorf("match: %w", err)
}

// equal reports whether two captures hold the same samples from the first to the last.
func equal(a, b pcm.Reader) (bool, error) {
	if a.Frames() != b.Frames() {
		return false, nil
	}
	err := pcm.Blocks(a, 1<<16, func(block [][]float64, from int) error {
		other, err := pcm.Load(b, from, from+len(block[0]))
		if err != nil {
			return err
		}
		for c := range block {
			if !slices.Equal(block[c], other.Channels[c]) {
				return errDiffer
			}
		}
		return nil
	})
	if errors.Is(err, errDiffer) {
		return false, nil
	}
	return err == nil, err
}

// errDiffer ends the comparison of samples.
var errDiffer = errors.New("the samples differ")

// ErrMono is wrapped, instead of ErrUnrelated, where no common music was found and one capture alone is mono.
var ErrMono = fmt.Errorf("%w", align.ErrUnrelated)
