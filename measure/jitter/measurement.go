package jitter

import (
	"cmp"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// longest is the most baseband samples analysed as one record: 124 s at 24 kHz. Longer captures are cut into
// equal records and averaged, so that memory does not grow. It is also the most that is analysed at the same time: two
// channels of a minute, or one of two minutes.
const longest = 1 << 22 * 10 / 14

// measurement is what Measure knows of a capture before and while it analyses it.
type measurement struct {
	cfg           Config
	bits          int
	reader        pcm.Reader
	tone          measure.ToneStretch
	sampling      sampling
	band          [2]float64
	signalRateHz  float64
	carrierHz     float64
	recordSeconds float64
	mixer         *mixer
	transform     *transform
	detector      *eventDetector
	workspaces    []*workspace // as many channels are analysed at the same time
	channels      []channelSum
	sounding      []int       // the channels that have a tone
	cross         []noiseBand // of the first two channels
	first         spectraCopy
	records       int
	from          int // frame where the first record begins
	recordFrames  int
	longest       int // baseband samples of a record
	warning.Warnings
}

// channelSum gathers the records of one channel.
type channelSum struct {
	silent              bool
	bands               []noiseBand
	jitter, amplitude   []component // of all records
	carrierHz, driftHz  float64
	wander, level, jump float64
	events              []event
}

// toPs turns radians of the carrier into picoseconds.
func (m *measurement) toPs(radians float64) float64 {
	return radians / (2 * math.Pi * m.carrierHz) * 1e12
}

// sample returns how many radians of the tone one sample is.
func (m *measurement) sample() float64 { return 2 * math.Pi * m.carrierHz / m.mixer.rateHz }

// limit returns the 95 % upper bound in ps where the excess is not significant, else the least that would have been.
func (m *measurement) limit(s noiseSum) float64 {
	if _, _, significant := s.excess(); significant {
		return m.toPs(s.least())
	}
	return m.toPs(s.bound())
}

// kappa returns κ of a channel over the records that begin at the measurement's first, of so many frames.
func (m *measurement) kappa(channel, frames int) float64 {
	return m.sampling.kappa(channel, m.from, m.records, frames)
}

// inPhase returns κ of a channel over the records that were measured.
func (m *measurement) inPhase(channel int) float64 { return m.kappa(channel, m.recordFrames) }

// testSignal returns the jitter signal as the capture shows it.
func (m *measurement) testSignal() testSignal {
	return testSignal{m.bits, m.carrierHz, 1 / m.recordSeconds, !math.IsNaN(m.signalRateHz)}
}

// group gathers components of all records that are at one frequency: found in at least half of them.
func (m *measurement) group(tones []component) [][]component {
	slices.SortFunc(tones, func(a, b component) int { return cmp.Compare(a.hz, b.hz) })
	if m.records == 1 {
		return slices.Collect(slices.Chunk(tones, 1))
	}
	var out [][]component
	for from := 0; from < len(tones); {
		to := from + 1
		for to < len(tones) && tones[to].hz-tones[to-1].hz < max(oneLineBins/m.recordSeconds, tones[to-1].skirtHz) {
			to++
		}
		if 2*(to-from) >= m.records {
			out = append(out, tones[from:to])
		}
		from = to
	}
	return out
}
