package fault

import (
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// below measures direct voltage and rumble of one capture, below the audible band. Neither counts in any figure.
type below struct {
	channels []belowChannel
	rate     float64
	every    int // samples of a mean, a millisecond
	samples  int
}

type belowChannel struct {
	sum, part, square float64
	filled            int
	means             []float64 // of a block of rumbleBlock
	rumble            []float64 // mean square by block
}

const rumbleBlock = 2048 // milliseconds

// rumbleHz is the band of rumble: above what the window makes of direct voltage, and below what it makes of the lowest notes.
var rumbleHz = [2]float64{2.5, 17}

func newBelow(rate pcm.Rate, channels int) *below {
	return &below{rate: rate.Hz(), every: max(1, int(rate)/1000), channels: make([]belowChannel, channels)}
}

// RumbleOf returns the mean square of what a stretch holds between direct voltage and the audible band most of the time, in the channel that holds most;
// 0 for less than 2 s.
func RumbleOf(c pcm.Clip) float64 {
	b := newBelow(c.Rate, len(c.Channels))
	b.add(c.Channels)
	return b.most()
}

// Rumble is RumbleOf of the capture.
func (p *Capture) Rumble() float64 { return p.below.most() }

// most returns the rumble of the channel that holds most.
func (b *below) most() float64 {
	most := 0.0
	for c := range b.channels {
		most = max(most, b.rumble(c))
	}
	return most
}

func (b *below) add(block [][]float64) {
	b.samples += len(block[0])
	for c, x := range block {
		b.channels[c].add(x, b.every, b.rate)
	}
}

// add takes samples of a channel. Means over a millisecond are transformed: components near a kilohertz fold down to where rumble is,
// by 34 dB less.
func (b *belowChannel) add(x []float64, every int, rate float64) {
	for _, v := range x {
		b.sum, b.part, b.square = b.sum+v, b.part+v, b.square+v*v
		if b.filled++; b.filled < every {
			continue
		}
		b.means = append(b.means, b.part/float64(every))
		b.part, b.filled = 0, 0
		if len(b.means) == rumbleBlock {
			s := spectrum.Once(b.means, rate/float64(every), spectrum.BlackmanHarris4())
			b.rumble = append(b.rumble, s.BandPower(rumbleHz[0], rumbleHz[1]))
			b.means = b.means[:copy(b.means, b.means[rumbleBlock/2:])]
		}
	}
}

// direct returns the direct voltage of channel c.
func (b *below) direct(c int) float64 { return b.channels[c].sum / float64(max(1, b.samples)) }

// rumble returns the mean square of what channel c holds between direct voltage and the audible band most of the time (the median: a click
// or a held buffer reaches down there, too), 0 where too little is known.
func (b *below) rumble(c int) float64 {
	if len(b.channels[c].rumble) == 0 {
		return 0
	}
	return spectrum.Median(b.channels[c].rumble)
}

// level returns the mean square of channel c without its direct voltage.
func (b *below) level(c int) float64 {
	return b.channels[c].square/float64(max(1, b.samples)) - b.direct(c)*b.direct(c)
}
