package interpolate

import "heardiff/playback/pcm"

// Stream reads a recording at shifted instants, block by block.
type Stream struct {
	kernel *Kernel
	from   pcm.Reader
	buf    [][]float64 // frames start to start+held−1 of the recording
	start  int
	held   int
}

// NewStream returns a stream over r. It is not safe for concurrent use, as r is not.
func NewStream(k *Kernel, r pcm.Reader) *Stream {
	return &Stream{kernel: k, from: r, buf: make([][]float64, r.Format().Channels)}
}

// Read fills dst[c][i] with channel c of the recording at the instant first + i + shift[i], in frames.
// Outside the recording there is silence. It returns the reader's errors.
func (s *Stream) Read(dst [][]float64, first int, shift []float64) error {
	if len(shift) == 0 {
		return nil
	}
	lo, hi := first, first
	for i, v := range shift {
		whole, _ := split(v)
		if at := first + i + whole; i == 0 {
			lo, hi = at, at
		} else {
			lo, hi = min(lo, at), max(hi, at)
		}
	}
	if err := s.hold(lo-s.kernel.half+1, hi+s.kernel.half+1); err != nil {
		return err
	}
	s.kernel.Shift(dst, s.buf, first-s.start, shift)
	return nil
}

// hold brings frames lo to hi−1 into the buffer, keeping what it has of them already.
func (s *Stream) hold(lo, hi int) error {
	kept := 0
	if lo >= s.start && lo < s.start+s.held {
		kept = min(s.start+s.held, hi) - lo
	}
	next := make([][]float64, len(s.buf))
	for c, old := range s.buf {
		if cap(old) < hi-lo {
			next[c] = make([]float64, hi-lo, 2*(hi-lo))
		} else {
			next[c] = old[:hi-lo]
		}
		if kept > 0 {
			copy(next[c][:kept], old[lo-s.start:])
		}
	}
	s.buf, s.start, s.held = next, lo, hi-lo
	return pcm.ReadAround(s.from, pcm.Part(next, kept, hi-lo), lo+kept)
}
