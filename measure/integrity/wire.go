package integrity

import (
	"math"
	"slices"

	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// wire says what a received channel carries of what was sent.
//
//	received[i] = Σ taps[l]·sent[from][i + reach − l − late] + constant + noise,  reach = len(taps)/2
//
// One tap is a gain, below 0 where the words are inverted.
type wire struct {
	from     int // channel of sent
	late     int // frames
	taps     []float64
	constant float64
	noise    noise
	dead     bool // nothing but zeros arrived of what was sent
	unsent   bool // nothing was sent: no gain can be read
	known    bool // the residual is no more than that of words cut, rounded or dithered, or a filter's
}

// filtered reports whether more than the level was changed.
func (w wire) filtered() bool { return len(w.taps) > 1 }

// tap is the gain of a wire without a filter.
func (w wire) tap() float64 { return w.taps[len(w.taps)/2] }

// sum is the gain of the lowest frequencies.
func (w wire) sum() float64 { return floats.Sum(w.taps) }

// apply writes what should have been received. x begins reach frames before the first of dst, late already counted.
func (w wire) apply(dst, x []float64) {
	reversed := slices.Clone(w.taps)
	slices.Reverse(reversed)
	for i := range dst {
		dst[i] = w.constant + floats.Dot(reversed, x[i:i+len(reversed)])
	}
}

// treated is what was sent, as changed by a chain that does the same to all of it.
type treated struct {
	pcm.Reader // of what was sent
	wires      []wire
	top        float64 // the largest word
	room       [][]float64
}

// ReadFrames fills dst, see pcm.Reader.
func (t *treated) ReadFrames(dst [][]float64, from int) (int, error) {
	n, end := pcm.Span(dst, t.Format().Channels, t.Frames(), from)
	if n == 0 {
		return 0, end
	}
	if len(t.room) == 0 || len(t.room[0]) < n+2*mostReach {
		t.room = pcm.Planes(len(dst), n+2*mostReach)
	}
	room := pcm.Part(t.room, 0, n+2*mostReach)
	if err := pcm.ReadAround(t.Reader, room, from-mostReach); err != nil {
		return 0, err
	}
	for c, w := range t.wires {
		w.apply(dst[c][:n], room[w.from][mostReach-len(w.taps)/2-w.late:])
		for i, v := range dst[c][:n] {
			dst[c][i] = min(max(v, -1), t.top)
		}
	}
	return n, end
}

// tolerance is how far a received word of one channel may be from what is expected.
type tolerance struct {
	peak, rms float64
	share     float64 // of the level of the current block, added to peak; a quarter of it to rms
}

// tolerance returns the zero value where the words should be the same.
func (w wire) tolerance(step float64) tolerance {
	switch {
	case w.noise.peak == 0:
		return tolerance{}
	case w.filtered(): // what a resampler leaves is as loud as the signal: six times its RMS is not reached by chance
		return tolerance{peak: 4 * step, rms: step, share: 6 * w.noise.share}
	}
	return tolerance{peak: max(1.5*w.noise.peak, step), rms: 1.5*w.noise.rms + step/4}
}

// allows returns the tolerance for a stretch of what is expected.
func (t tolerance) allows(x []float64) tolerance {
	if t.share > 0 {
		s := t.share * rms(x)
		t.peak, t.rms = t.peak+s, t.rms+s/4
	}
	return t
}

func rms(x []float64) float64 { return math.Sqrt(floats.Dot(x, x) / float64(len(x))) }
