package jitter

import (
	"fmt"
	"io"
	"sync"

	"heardiff/playback/pcm"
)

// workspace is what one channel is analysed in, one record after the other.
type workspace struct {
	samples          []complex128 // log z of the baseband, and its transform
	noisePM, noiseAM []float64    // of the noise around each bin
	demods           [2]*demodulator
}

func newWorkspace(m *mixer, samples int) *workspace {
	w := &workspace{samples: make([]complex128, max(paddedSize(samples), samples+m.perBlock()))}
	for i := range w.demods {
		w.demods[i] = m.demodulator()
	}
	return w
}

// together is how many blocks are read at once.
const together = 8

// forEach calls f for every channel of a group with a workspace of its own, at the same time.
func forEach(group []int, spaces []*workspace, f func(w *workspace, channel int)) {
	var wait sync.WaitGroup
	for i, c := range group {
		wait.Go(func() { f(spaces[i], c) })
	}
	wait.Wait()
}

// demodulate fills the workspaces with the channels of a group; sample 0 is at frame from.
func demodulate(r pcm.Reader, group []int, spaces []*workspace, m *mixer, from, samples int) error {
	blocks := (samples + m.perBlock() - 1) / m.perBlock()
	buffer := pcm.Planes(r.Format().Channels, together*m.hop()+m.size-m.hop())
	for first := 0; first < blocks; first += together {
		at := from - m.lead() + first*m.hop()
		n, err := r.ReadFrames(buffer, at)
		if err != nil && err != io.EOF {
			return fmt.Errorf("jitter: read at frame %d: %w", at, err)
		}
		forEach(group, spaces, func(w *workspace, c int) {
			clear(buffer[c][n:])
			w.demodulate(buffer[c], first, min(blocks, first+together))
		})
	}
	return nil
}

// demodulate works off the blocks from first to last − 1, which begin at x, on as many processors as it has demodulators.
func (w *workspace) demodulate(x []float64, first, last int) {
	var wait sync.WaitGroup
	for i, d := range w.demods {
		wait.Go(func() {
			for b := first + i; b < last; b += len(w.demods) {
				d.block(w.samples[b*d.perBlock():], b, x[(b-first)*d.hop():][:d.size])
			}
		})
	}
	wait.Wait()
}
