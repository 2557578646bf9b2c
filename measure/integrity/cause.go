package integrity

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// leastRelated is the square of the correlation from which a gain means something. One channel copied to two comes to 1/4.
const leastRelated = 0.5

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
		// What was exchanged, mixed or moved in time has no one gain.
		if c.sr*c.sr > leastRelated*c.ss*c.rr {
			r.GainDB = pcm.DB(math.Abs(c.sr) / c.ss)
		}
	}
	if c.good == 0 {
		r.Faults = nil // nothing is equal anywhere: the whole was changed, no stretch of it
	}
	return r
}

// cause says what changed the words.
func (c *comparison) cause(sentBits, receivedBits int) (Cause, error) {
	if c.good > 0 && (c.good >= c.bad/2 || c.mostIsNamed()) {
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
	peak, gain, err := c.remainder(c.sr / c.ss)
	switch {
	case err != nil:
		return None, err
	case peak <= 4*step:
		return Gain, nil
	}
	high, err := c.cutTop(gain)
	if err != nil {
		return None, err
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

// mostIsNamed reports whether stretches lost, muted or repeated hold most of what differs, however long they are.
func (c *comparison) mostIsNamed() bool {
	frames := 0
	for _, f := range c.faults {
		if f.Cause == Dropout || f.Cause == Repeat {
			frames += f.Frames
		}
	}
	return 2*frames*len(c.a) > c.different
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

// mapping tells inverted and exchanged channels: where nine words in ten agree with the sent ones inverted, or with
// those of another channel.
func (c *comparison) mapping() (Cause, error) {
	w, err := c.countWiring()
	if err != nil {
		return None, err
	}
	for k := range c.a {
		for j := range c.b {
			switch {
			case k == j && w.agree(k, k, inverted):
				return Polarity, nil
			case k == j || !w.agree(k, j, upright) && !w.agree(k, j, inverted):
			case w.agree(k, k, upright): // it stands where it should as well
				c.warnings = append(c.warnings, fmt.Sprintf("channel %d holds what was sent in channel %d: one channel was copied to the other", j+1, k+1))
				return Unknown, nil
			default:
				return ChannelSwap, nil
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

const (
	upright  = 0
	inverted = 1
	// enoughWords of a channel tell where it went.
	enoughWords = 1 << 15
)

// wiring counts words that agree between channels.
type wiring struct {
	sound []int      // words of each sent channel that are not zero
	equal [][][2]int // of them, those that each received channel holds, upright and inverted
}

// countWiring counts up to enoughWords of each channel, from where it sounds: before, all channels are alike.
func (c *comparison) countWiring() (wiring, error) {
	w := wiring{sound: make([]int, len(c.a)), equal: make([][][2]int, len(c.a))}
	for k := range w.equal {
		w.equal[k] = make([][2]int, len(c.b))
	}
	end := min(c.received.Frames(), c.sent.Frames()-c.at.offset)
	for from := max(0, -c.at.offset); from < end; from += blockFrames {
		if slices.Min(w.sound) >= enoughWords {
			break
		}
		if _, err := c.blockAt(from, min(blockFrames, end-from)); err != nil {
			return w, err
		}
		for k, a := range c.a {
			if w.sound[k] < enoughWords {
				w.count(k, a, c.b)
			}
		}
	}
	return w, nil
}

func (w wiring) count(k int, a []float64, received [][]float64) {
	for i, v := range a {
		if v == 0 {
			continue
		}
		w.sound[k]++
		for j, b := range received {
			switch b[i] {
			case v:
				w.equal[k][j][upright]++
			case -v:
				w.equal[k][j][inverted]++
			}
		}
	}
}

// agree reports whether received channel j holds sent channel k.
func (w wiring) agree(k, j, way int) bool {
	return w.sound[k] > 100 && w.equal[k][j][way]*10 > w.sound[k]*9
}

// longestLook is how many frames the remainder is looked at.
const longestLook = 1 << 20

// remainder returns the largest value of received − gain·sent where the received word is not clipped, and the gain of
// the lower half of the band, in which a resampler changes nothing.
func (c *comparison) remainder(gain float64) (peak, low float64, err error) {
	cfg := spectrum.Config{RateHz: 1, Size: 4096, Window: spectrum.Hann(), Overlap: 0.5}
	var averagers [2]*spectrum.Averager
	for i := range averagers {
		if averagers[i], err = spectrum.NewAverager(cfg); err != nil {
			return 0, 0, err
		}
	}
	err = c.look(func() {
		for ch := range c.a {
			for i, v := range c.a[ch] {
				if !c.clipped(c.b[ch][i]) {
					peak = max(peak, math.Abs(c.b[ch][i]-gain*v))
				}
			}
		}
		averagers[0].Write(c.a[0])
		averagers[1].Write(c.b[0])
	})
	if err != nil {
		return 0, 0, err
	}
	var power [2]float64
	for i := range averagers {
		s, err := averagers[i].Spectrum()
		if err != nil {
			return peak, gain, nil // too short to tell
		}
		power[i] = s.BandPower(0, 0.25)
	}
	return peak, math.Copysign(math.Sqrt(power[1]/power[0]), gain), nil
}

// cutTop returns which part of the power of received − gain·sent lies above 0.4 of the rate.
func (c *comparison) cutTop(gain float64) (float64, error) {
	averager, err := spectrum.NewAverager(spectrum.Config{RateHz: 1, Size: 4096, Window: spectrum.Hann(), Overlap: 0.5})
	if err != nil {
		return 0, err
	}
	err = c.look(func() {
		for i, v := range c.a[0] {
			c.a[0][i] = c.b[0][i] - gain*v
		}
		averager.Write(c.a[0])
	})
	if err != nil {
		return 0, err
	}
	s, err := averager.Spectrum()
	if err != nil {
		return 0, nil // too short to tell where it lies
	}
	return s.BandPower(0.4, 0.5) / s.BandPower(0, 0.5), nil
}

// look reads at most the first million frames, and calls f for each block of them.
func (c *comparison) look(f func()) error {
	from := max(0, -c.at.offset)
	end := min(c.received.Frames(), c.sent.Frames()-c.at.offset, from+longestLook)
	for ; from+blockFrames <= end; from += blockFrames {
		if _, err := c.blockAt(from, blockFrames); err != nil {
			return err
		}
		f()
	}
	return nil
}

// clipped reports whether a received word stands at an end of its scale.
func (c *comparison) clipped(v float64) bool {
	return v >= 1-math.Ldexp(1, 1-c.shortBits) || v <= -1
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
