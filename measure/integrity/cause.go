package integrity

import (
	"math"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// result returns the counts.
func (c *comparison) result(sentBits, receivedBits int) Result {
	r := Result{
		Schema: "heardiff.integrity/1", BitPerfect: c.different == 0 && c.compared > 0, OffsetSamples: c.at.offset,
		ComparedSamples: c.compared, MismatchedSamples: c.different, BitsCompared: min(sentBits, receivedBits),
		GainDB: math.NaN(), Faults: c.faults,
	}
	if c.first >= 0 {
		first := c.first
		r.FirstMismatch = &first
		r.GainDB = pcm.DB(math.Abs(c.sr) / c.ss)
	}
	if c.good == 0 {
		r.Faults = nil // nothing is equal anywhere: the whole was changed, no stretch of it
	}
	return r
}

// cause says what changed the words.
func (c *comparison) cause(sentBits, receivedBits int) (Cause, error) {
	if c.good > 0 && c.good >= c.bad/2 {
		return c.localCause(), nil
	}
	mapped, err := c.mapping()
	if err != nil || mapped != None {
		return mapped, err
	}
	samples := (c.good + c.bad) * blockFrames * len(c.a)
	step := math.Ldexp(1, 1-min(receivedBits, 24))
	switch {
	// One word in a thousand may have been clipped at the end of the scale.
	case receivedBits < sentBits && float64(c.cut) > 0.999*float64(c.compared) && samples > 0:
		return Truncation, nil
	// TPDF dither and rounding reach 1.5 steps; twice, where a chain dithers twice.
	case c.peakError <= 4*step:
		return Dither, nil
	}
	peak, high, err := c.remainder(c.sr / c.ss)
	switch {
	case err != nil:
		return None, err
	case peak <= 4*step:
		return Gain, nil
	}
	moved, err := c.moves()
	if err != nil {
		return None, err
	}
	if moved || high > 0.9 {
		return Resampling, nil
	}
	return Unknown, nil
}

// localCause returns the cause of the faults that lasted longest together.
func (c *comparison) localCause() Cause {
	frames := map[Cause]int{}
	for _, f := range c.faults {
		frames[f.Cause] += f.Frames
	}
	best := Unknown
	for _, cause := range []Cause{Dropout, Repeat} {
		if frames[cause] > frames[best] {
			best = cause
		}
	}
	return best
}

// mapping tells inverted and exchanged channels: where nine words in ten of a second agree with the sent ones
// inverted, or with those of another channel.
func (c *comparison) mapping() (Cause, error) {
	n := len(c.a)
	from := max(0, -c.at.offset)
	length := min(1<<15, c.received.Frames()-from)
	a, b := pcm.Planes(n, length), pcm.Planes(n, length)
	if err := read(c.sent, a, from+c.at.offset); err != nil {
		return None, err
	}
	if err := read(c.received, b, from); err != nil {
		return None, err
	}
	for k := range n {
		for j := range n {
			for _, sign := range []float64{1, -1} {
				if k == j && sign > 0 || !agree(a[k], b[j], sign) {
					continue
				}
				if k != j {
					return ChannelSwap, nil
				}
				return Polarity, nil
			}
		}
	}
	if c.at.score < -0.9 && c.at.from == c.at.channel {
		return Polarity, nil
	}
	if c.at.from != c.at.channel && math.Abs(c.at.score) > 0.9 {
		return ChannelSwap, nil
	}
	return None, nil
}

func agree(a, b []float64, sign float64) bool {
	equal, sound := 0, 0
	for i, v := range a {
		if v != 0 {
			sound++
			if b[i] == sign*v {
				equal++
			}
		}
	}
	return sound > 100 && equal*10 > sound*9
}

// remainder returns the largest value of received − gain·sent over at most the first million frames, and the part of
// its power above 0.4 of the rate.
func (c *comparison) remainder(gain float64) (peak, high float64, err error) {
	from := max(0, -c.at.offset)
	averager, err := spectrum.NewAverager(spectrum.Config{RateHz: 1, Size: 4096, Window: spectrum.Hann(), Overlap: 0.5})
	if err != nil {
		return 0, 0, err
	}
	end := min(c.received.Frames(), c.sent.Frames()-c.at.offset, from+1<<20)
	for ; from+blockFrames <= end; from += blockFrames {
		if _, err := c.blockAt(from, blockFrames); err != nil {
			return 0, 0, err
		}
		for ch := range c.a {
			for i, v := range c.a[ch] {
				d := c.b[ch][i] - gain*v
				peak = max(peak, math.Abs(d))
				c.a[ch][i] = d
			}
		}
		averager.Write(c.a[0])
	}
	s, err := averager.Spectrum()
	if err != nil {
		return peak, 0, nil // too short to tell where it lies
	}
	return peak, s.BandPower(0.4, 0.5) / s.BandPower(0, 0.5), nil
}

// blockAt is block at the first offset.
func (c *comparison) blockAt(frame, n int) (int, error) {
	c.offset = c.at.offset
	for ch := range c.a {
		c.a[ch], c.b[ch] = c.a[ch][:cap(c.a[ch])], c.b[ch][:cap(c.b[ch])]
	}
	return c.block(frame, n)
}

// moves reports whether the received recording stands a part of a sample, or more and more, beside the sent one.
func (c *comparison) moves() (bool, error) {
	from := max(0, -c.at.offset)
	end := min(c.received.Frames(), c.sent.Frames()-c.at.offset)
	const slack = 64 // frames of drift looked at
	a := pcm.Planes(len(c.a), anchorFrames)
	b := pcm.Planes(len(c.a), anchorFrames+2*slack)
	wide := make([]float64, 2*anchorFrames)
	for k := range 5 {
		at := from + slack + (end-from-anchorFrames-2*slack)*k/4
		if at < from {
			return false, nil
		}
		if err := read(c.sent, a, at+c.at.offset); err != nil {
			return false, err
		}
		if err := read(c.received, b, at-slack); err != nil {
			return false, err
		}
		copy(wide, b[c.at.channel])
		m := newMatcher(a[c.at.from], len(wide))
		lag, score := m.best(wide)
		if math.Abs(score) < 0.3 || lag == 0 || lag >= 2*slack {
			continue
		}
		l, top, r := m.out[lag-1], m.out[lag], m.out[lag+1]
		part := 0.5 * (l - r) / (l - 2*top + r)
		if math.Abs(float64(lag-slack)+part) > 0.02 {
			return true, nil
		}
	}
	return false, nil
}
