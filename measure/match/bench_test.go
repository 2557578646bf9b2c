package match_test

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// loop is a long capture made of ten seconds of noise of varying level, so that a benchmark of minutes does not hold
// minutes in memory: what is measured is Compare's use of memory. Each channel is the sum of the noise and of itself read
// with a period a little shorter, so that nothing repeats within minutes; plain leaves the second out, and the music repeats.
type loop struct {
	pcm.Clip
	frames, delay int
	plain         bool
}

func (l loop) Frames() int { return l.frames }

func (l loop) ReadFrames(dst [][]float64, from int) (int, error) {
	n := min(len(dst[0]), l.frames-from)
	for c := range dst {
		for i := range n {
			// Each pass plays another gain, so that the passes can be distinguished.
			at := from + i - l.delay + 16*l.Clip.Len()
			pass := at / l.Clip.Len()
			dst[c][i] = l.Channels[c][at%l.Clip.Len()] * (0.3 + 0.02*float64(pass*7%11))
			if !l.plain {
				dst[c][i] += 0.3 * l.Channels[1-c][at%(l.Clip.Len()-77777)]
			}
		}
	}
	if n < len(dst[0]) {
		return n, io.EOF
	}
	return n, nil
}

func noiseLoop(rate pcm.Rate) pcm.Clip {
	r := rand.New(rand.NewPCG(1, 2))
	c := pcm.NewClip(rate, 2, 10*int(rate))
	for i := range c.Len() {
		course := 0.1 * (1 + math.Sin(float64(i)/float64(rate)*7) + math.Sin(float64(i)/float64(rate)*23.3))
		c.Channels[0][i], c.Channels[1][i] = course*r.NormFloat64()*0.3, course*r.NormFloat64()*0.3
	}
	return c
}

func BenchmarkCompare(b *testing.B) {
	c := noiseLoop(96000)
	for _, seconds := range []int{30, 75, 150, 300} {
		b.Run(fmt.Sprintf("%ds", seconds), func(b *testing.B) {
			x, y := loop{c, seconds * 96000, 0, false}, loop{c, seconds * 96000, 12345, false}
			b.ReportAllocs()
			for b.Loop() {
				r, err := match.Compare(x, y)
				if err != nil || math.Abs(r.OffsetSamples-12345) > 0.01 {
					b.Fatal(r.OffsetSamples, err)
				}
			}
		})
	}
}

func BenchmarkPrepare20s(b *testing.B) {
	m := newMusic(4, 30, 19000)
	x := m.capture(48000, 30*48000, way{bits: 24})
	y := m.capture(48000, 30*48000, way{bits: 24, offset: 333.25, drift: 5e-6})
	for b.Loop() {
		if _, err := match.Prepare([]pcm.Reader{x, y}, match.Excerpt{StartS: 4, LengthS: 20}); err != nil {
			b.Fatal(err)
		}
	}
}
