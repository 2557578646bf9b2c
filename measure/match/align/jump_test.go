package align

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match/audible"
	"heardiff/playback/pcm"
)

const (
	jumpRate    = 24000
	jumpSeconds = 10
	jumpAt      = 4 * jumpRate // frame of B at which frames are missing
)

// phrases is noise that falls by 6 dB an octave and comes in short phrases of many levels, as music has a course; another noise, 60 dB lower, on top.
func phrases(noise uint64) pcm.Clip {
	r, own := rand.New(rand.NewPCG(5, 1)), rand.New(rand.NewPCG(noise, 2))
	c := pcm.NewClip(jumpRate, 1, jumpSeconds*jumpRate)
	last, level := 0.0, 0.0
	for i := range c.Channels[0] {
		if i%(jumpRate/8) == 0 {
			level = math.Exp2(-5 * r.Float64())
		}
		last = 0.9*last + 0.1*r.NormFloat64()
		c.Channels[0][i] = level*last + 3e-4*own.NormFloat64()
	}
	return c
}

// Neither finder can do the other's part: anchors are good to a frame or two, and blocks hold nothing in common once B is displaced by more
// than they may move. A jump of any size is seen by one of them, and where both see it the far one goes first.
func TestEveryJumpIsSeenByOneFinder(t *testing.T) {
	a := phrases(1)
	for _, c := range []struct {
		frames int
		far    bool // whether the anchors see it
		track  bool // whether the track does
	}{
		{1, false, true},
		{12, false, true},
		{25, true, true},
		{100, true, false},
		{2 * jumpRate, true, false},
	} {
		t.Run(fmt.Sprint(c.frames), func(t *testing.T) {
			b := phrases(2)
			ch := b.Channels[0]
			b.Channels[0] = append(ch[:jumpAt:jumpAt], ch[jumpAt+c.frames:]...)
			s := searched(t, a, b)
			p := s.Places[0]
			_, far, err := s.farJumps(p)
			if err != nil {
				t.Fatal(err)
			}
			track, err := s.segments(nil, p.Line, 0, segmentDepth)
			if err != nil {
				t.Fatal(err)
			}
			all, err := s.Align(p)
			if err != nil {
				t.Fatal(err)
			}
			var byTrack []Jump
			if len(track) > 0 {
				byTrack = longest(track).Breaks
			}
			if got := isJump(far, c.frames, anchorTolerance); got != c.far {
				t.Errorf("the anchors alone: %+v", far)
			}
			if got := isJump(byTrack, c.frames, 0.2); got != c.track {
				t.Errorf("the track alone: %+v", byTrack)
			}
			if !isJump(all.Breaks, c.frames, 0.2) {
				t.Errorf("both: %+v", all.Breaks)
			}
		})
	}
}

// isJump reports whether the jumps are the one by which frames are missing in B, to within so many frames.
func isJump(jumps []Jump, frames int, within float64) bool {
	return len(jumps) == 1 && math.Abs(jumps[0].By+float64(frames)) <= within
}

// searched returns the search of A in B that found its places.
func searched(t *testing.T, a, b pcm.Clip) *Search {
	t.Helper()
	s, err := Find(a, b, courseOf(a), courseOf(b))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func courseOf(c pcm.Clip) Course {
	h := audible.NewHops(c.Rate)
	course := NewCourse(h.Frames)
	for from := 0; from+h.Frames <= c.Len(); from += h.Frames {
		power, _ := h.Of(c.Channels, from)
		course.Add(power, h.BinHz)
	}
	course.Close()
	return course
}
