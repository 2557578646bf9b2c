package match

import (
	"errors"
	"math"
	"slices"

	"heardiff/playback/pcm"
)

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

// inPlace returns what Compare finds of captures that hold the same samples: nothing lies between them, however well another
// place may do, as in a steady tone. How well it does is noted.
func (s *search) inPlace() (outcome, error) {
	here := placed{line: line{sign: 1}, explained: 1}
	found := aligned{line: here.line, a: s.courseA, b: s.courseB, kernels: s.kernels, doubt: doubt{left: math.Inf(1)}}
	if err := found.refine(s); err != nil {
		return outcome{}, err
	}
	found.line, found.gain = here.line, 1
	for _, q := range s.places {
		if !s.elsewhere(here, q) {
			continue
		}
		left, err := s.glance(q.line)
		if err != nil && !errors.Is(err, ErrUnrelated) {
			return outcome{}, err
		}
		if err == nil {
			found.left = min(found.left, max(0, left-glanceFloor))
		}
	}
	if err := found.beside(s, min(rivalFrames, s.a.Frames())/8); err != nil {
		return outcome{}, err
	}
	return s.settle(found)
}
