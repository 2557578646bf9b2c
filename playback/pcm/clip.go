package pcm

import (
	"errors"
	"fmt"
)

// ErrMismatch is wrapped by errors about audio whose rate, channel count or length disagree.
var ErrMismatch = errors.New("audio does not match")

// Clip is a stretch of audio in memory.
type Clip struct {
	Rate Rate
	// Channels[c][i] is the sample of channel c at frame i, full scale ±1.0.
	// All channels are equally long.
	Channels [][]float64
}

// NewClip returns a silent clip of the given shape. It panics if channels < 1 or frames < 0.
func NewClip(rate Rate, channels, frames int) Clip {
	if channels < 1 || frames < 0 {
		panic(fmt.Sprintf("pcm: clip of %d channels, %d frames", channels, frames))
	}
	return Clip{Rate: rate, Channels: Planes(channels, frames)}
}

// Planes returns one slice of frames samples for each channel, from a single allocation.
func Planes(channels, frames int) [][]float64 {
	all := make([]float64, channels*frames)
	planes := make([][]float64, channels)
	for c := range planes {
		planes[c] = all[c*frames : (c+1)*frames : (c+1)*frames]
	}
	return planes
}

// Len returns the number of frames.
func (c Clip) Len() int {
	if len(c.Channels) == 0 {
		return 0
	}
	return len(c.Channels[0])
}

// Slice returns frames from to to−1 of c, sharing its memory. It panics if the range is outside c.
func (c Clip) Slice(from, to int) Clip {
	return Clip{Rate: c.Rate, Channels: Part(c.Channels, from, to)}
}

// Part returns samples from to to−1 of each plane, sharing their memory. It panics if the range is outside a plane's capacity.
func Part(planes [][]float64, from, to int) [][]float64 {
	part := make([][]float64, len(planes))
	for c, x := range planes {
		part[c] = x[from:to]
	}
	return part
}

// Clone returns a copy of c that shares no memory with it.
func (c Clip) Clone() Clip {
	return Clip{Rate: c.Rate, Channels: Copy(c.Channels)}
}

// Copy returns a copy of equally long planes that shares no memory with them.
func Copy(planes [][]float64) [][]float64 {
	if len(planes) == 0 {
		return nil
	}
	out := Planes(len(planes), len(planes[0]))
	for c, x := range planes {
		copy(out[c], x)
	}
	return out
}

// Float32 returns the samples as interleaved float32, len = frames × channels.
// Every 24-bit sample value is exact in float32.
func (c Clip) Float32() []float32 {
	n := len(c.Channels)
	out := make([]float32, c.Len()*n)
	for k, ch := range c.Channels {
		for i, v := range ch {
			out[i*n+k] = float32(v)
		}
	}
	return out
}
