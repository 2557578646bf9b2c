package jitter_test

import (
	"fmt"
	"runtime"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
)

// loop is a capture of any length that repeats a second of whole periods: it takes no memory.
type loop struct {
	second pcm.Clip
	frames int
}

func (l loop) Format() pcm.Format { return l.second.Format() }
func (l loop) Frames() int        { return l.frames }
func (l loop) ReadFrames(dst [][]float64, from int) (int, error) {
	n := min(len(dst[0]), l.frames-from)
	for c := range dst {
		for at := 0; at < n; {
			at += copy(dst[c][at:n], l.second.Channels[c][(from+at)%l.second.Len():])
		}
	}
	return n, nil
}

func newLoop(rate pcm.Rate, seconds int) loop {
	c := jittertest.Capture{Rate: rate, Seconds: 1, CarrierHz: rate.Hz() / 4, Amplitude: 0.7,
		Jitter: []jittertest.Sine{{Hz: 100, Peak: 1e-9}}}
	d := c
	d.Seed = 2
	return loop{jittertest.Clip(c, d), seconds * int(rate)}
}

type benchCase struct {
	rate    pcm.Rate
	seconds int
}

// BenchmarkMeasure shows the time of a capture, the most memory in use while it runs, garbage included (MB-peak), and what is allocated in all for each minute of audio. With -full, an hour at 192 kHz.
func BenchmarkMeasure(b *testing.B) {
	cases := []benchCase{{192000, 15}, {192000, 30}, {192000, 60}, {192000, 120}, {48000, 60}}
	if *full {
		cases = append(cases, benchCase{192000, 600}, benchCase{192000, 3600})
	}
	for _, c := range cases {
		b.Run(fmt.Sprintf("%d_Hz_%d_s", c.rate, c.seconds), func(b *testing.B) {
			// Noise on top breaks the repeat: a repeated second would be all lines.
			r := noisy{newLoop(c.rate, c.seconds)}
			b.SetBytes(int64(r.frames) * 2 * 8)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			most := mostHeld(inUse, func() {
				for b.Loop() {
					if _, err := jitter.Measure(r, jitter.Config{Spectrum: true}); err != nil {
						b.Fatal(err)
					}
				}
			})
			runtime.ReadMemStats(&after)
			b.ReportMetric(float64(most)/1e6, "MB-peak")
			b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/1e6/float64(b.N)/(float64(c.seconds)/60), "MB/audio-min")
		})
	}
}

// noisy adds noise that is a hash of the frame number.
type noisy struct{ loop }

func (n noisy) ReadFrames(dst [][]float64, from int) (int, error) {
	count, err := n.loop.ReadFrames(dst, from)
	for c := range dst {
		for i := range count {
			x := uint64(from+i)*0x9e3779b97f4a7c15 + uint64(c)*0xd1342543de82ef95
			x ^= x >> 29
			x *= 0xbf58476d1ce4e5b9
			x ^= x >> 32
			dst[c][i] += 4e-6 * (float64(x>>11)/(1<<53) - 0.5)
		}
	}
	return count, err
}
