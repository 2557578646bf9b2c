package fault

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
)

// Capture is what is noted of one capture by itself while it is read from end to end.
type Capture struct {
	Peak     float64
	clipped  int // samples in runs of three or more of one value near the peak
	ceilings [2]ceiling
	below    *below
	width    width
	spectra  *spectra // of the channels' mix
	hop      int      // frames
	hops     int      // so far
	atPeak   bool     // the block reaches the peak so far
}

// NewCapture returns an empty Capture for so many frames, read in hops of hop frames.
func NewCapture(f pcm.Format, frames, hop int) *Capture {
	return &Capture{
		hop:     hop,
		below:   newBelow(f.Rate, f.Channels),
		spectra: &spectra{every: max(hopsOfAStretch, frames/hop/mostStretches), hop: hop, bands: int(f.Rate.Hz() / 2 / residual.BandHz)},
	}
}

// Add takes the next block, a number of hops long; AddHop is then called for each hop of it.
func (p *Capture) Add(block [][]float64) {
	p.atPeak = p.extremes(block)
	p.width.add(block)
	p.below.add(block)
}

// AddHop takes the powers of the bins, binHz apart, of the hop that begins at frame from of the block; cut reports whether digital silence
// begins or ends within it.
func (p *Capture) AddHop(block [][]float64, from int, power []float64, binHz float64, cut bool) {
	if !cut {
		p.spectra.add(p.hops, power, binHz, p.atPeak && p.reachesPeak(block, from))
	}
	p.hops++
}

// ceiling is the outermost value of one polarity, and how many samples are at it in runs of leastRun or more.
type ceiling struct {
	at      float64
	clipped int
}

const (
	// leastRun is how many samples of one value in a row are clipping: two may be a wave's own top.
	leastRun = 3
	// nearPeak is what is taken for the peak: the two polarities of a converter clip a step apart.
	nearPeak = 0.999
)

// extremes keeps the peak, counts the clipped samples in either polarity, and reports whether the block reaches the peak.
func (p *Capture) extremes(block [][]float64) (reached bool) {
	for _, ch := range block {
		run, last := 0, 0
		for _, v := range ch {
			if math.Abs(v) < nearPeak*p.Peak || v == 0 {
				run = 0
				continue
			}
			reached = true
			side := 0
			if v < 0 {
				side = 1
			}
			if side != last {
				run, last = 0, side
			}
			run = p.ceilings[side].add(math.Abs(v), run)
			p.Peak = max(p.Peak, math.Abs(v))
		}
	}
	p.clipped = 0
	for _, c := range p.ceilings {
		if c.at >= nearPeak*p.Peak {
			p.clipped += c.clipped
		}
	}
	return reached
}

// add takes a magnitude after a run of so many at the ceiling, and returns the run that it is part of.
func (c *ceiling) add(v float64, run int) int {
	switch {
	case v > c.at:
		c.at, c.clipped = v, 0
		return 1
	case v < c.at:
		return 0
	case run+1 == leastRun:
		c.clipped += leastRun
	case run+1 > leastRun:
		c.clipped++
	}
	return run + 1
}

// reachesPeak reports whether the hop that begins at frame from of the block reaches the peak so far.
func (p *Capture) reachesPeak(block [][]float64, from int) bool {
	for _, ch := range block {
		for _, v := range ch[from : from+p.hop] {
			if math.Abs(v) >= nearPeak*p.Peak {
				return true
			}
		}
	}
	return false
}

// width is by how much the channels of a capture differ from its first.
type width struct{ own, joint []float64 } // Σ xc², Σ x1·xc by channel

func (w *width) add(block [][]float64) {
	if w.own == nil {
		w.own, w.joint = make([]float64, len(block)), make([]float64, len(block))
	}
	for c, ch := range block {
		w.own[c] += floats.Dot(ch, ch)
		w.joint[c] += floats.Dot(ch, block[0])
	}
}

// unlike returns the share of power that the channel least correlated with the first does not have in common with it: 0 for
// mono, whatever the balance, and 1 where channels have nothing in common, or one is silent.
func (w width) unlike() float64 {
	most := 0.0
	for c := 1; c < len(w.own); c++ {
		common := 0.0
		if power := w.own[0] * w.own[c]; power > 0 {
			common = w.joint[c] * w.joint[c] / power
		}
		most = max(most, 1-common)
	}
	return most
}
