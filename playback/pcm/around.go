package pcm

import (
	"fmt"
	"io"
)

// Around returns n frames of r from from on, as ReadAround reads them.
func Around(r Reader, from, n int) ([][]float64, error) {
	planes := Planes(r.Format().Channels, n)
	return planes, ReadAround(r, planes, from)
}

// ReadAround fills dst with the frames of r from from on, which may lie before the first frame or reach past
// the last: there it writes silence. It returns the reader's errors, never io.EOF.
func ReadAround(r Reader, dst [][]float64, from int) error {
	n := len(dst[0])
	before := min(n, max(0, -from))
	inside := max(0, min(n, r.Frames()-from)-before)
	part := make([][]float64, len(dst))
	for c := range dst {
		clear(dst[c][:before])
		clear(dst[c][before+inside:])
		part[c] = dst[c][before : before+inside]
	}
	if inside == 0 {
		return nil
	}
	got, err := r.ReadFrames(part, from+before)
	if got < inside && (err == nil || err == io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	if err != nil && err != io.EOF {
		return fmt.Errorf("read at frame %d: %w", from+before, err)
	}
	return nil
}
