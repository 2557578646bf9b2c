package pcm_test

import (
	"io"
	"slices"
	"testing"

	"heardiff/playback/pcm"
)

// A section reads like a file that holds its frames alone.
func TestASectionHoldsItsFramesAlone(t *testing.T) {
	c := pcm.NewClip(48000, 1, 10)
	for i := range c.Channels[0] {
		c.Channels[0][i] = float64(i)
	}
	s := pcm.Section(c, 3, 8)
	if s.Frames() != 5 || s.Format() != c.Format() {
		t.Fatalf("%d frames, %v", s.Frames(), s.Format())
	}
	for _, x := range []struct {
		from, room int
		want       []float64
		end        bool
	}{{0, 2, []float64{3, 4}, false}, {3, 2, []float64{6, 7}, false}, {3, 4, []float64{6, 7}, true}, {5, 2, nil, true}, {7, 2, nil, true}} {
		dst := pcm.Planes(1, x.room)
		n, err := s.ReadFrames(dst, x.from)
		if !slices.Equal(dst[0][:n], x.want) || (err == io.EOF) != x.end {
			t.Errorf("from %d: %v, %v", x.from, dst[0][:n], err)
		}
	}
}
