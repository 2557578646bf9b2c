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

// demodulate fills the workspaces with the channels of a group; sample 0 stands at frame from.
func (m *measurement) demodulate(group []int, from, samples int) error {
	blocks := (samples + m.mixer.perBlock() - 1) / m.mixer.perBlock()
	buffer := pcm.Planes(len(m.channels), together*m.mixer.hop()+m.mixer.size-m.mixer.hop())
	for first := 0; first < blocks; first += together {
		at := from - m.mixer.lead() + first*m.mixer.hop()
		n, err := m.reader.ReadFrames(buffer, at)
		if err != nil && err != io.EOF {
			return fmt.Errorf("jitter: read at frame %d: %w", at, err)
		}
		m.each(group, func(w *workspace, c int) {
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
