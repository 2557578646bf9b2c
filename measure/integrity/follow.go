package integrity

import (
	"math"

	"heardiff/playback/pcm"
)

const (
	// followedFrames is a block of a recording whose clock drifts: at 100 ppm it moves by a fifth of a frame.
	followedFrames = 2048
	// leastFollowed is what is allowed at the least, relative to what was sent, until a filter is fitted anew.
	leastFollowed = 0.1
	// mostSlip is how many frames a clock drifts at the most before it is noticed.
	mostSlip = 2
)

// following returns a comparison that fits its filters anew where they leave more than at first, as beside a resampler between two
// clocks. It begins with what the first stretch holds; ok is false where that is not understood.
func (c *comparison) following(l *learner, wires []wire) (d *comparison, ok bool) {
	first := l.stretches[0]
	fitted := make([]wire, len(wires))
	for j, w := range wires {
		if w.dead || w.blank {
			return nil, false
		}
		pairs := first.pairs(w.from, j, w.late)
		fitted[j] = l.robust(pairs[:min(len(pairs), followedFrames/pieceFrames)], l.filter)
		fitted[j].from, fitted[j].late = w.from, w.late
		if !(fitted[j].noise.share < 0.3) {
			return nil, false
		}
	}
	at := c.at
	at.offset = first.offset
	d = c.beside(fitted, l.top, at)
	d.follows, d.size = &l.fitter, min(d.size, followedFrames)
	for j := range fitted {
		d.allow(j, fitted[j])
	}
	return d, true
}

// understood reports whether hardly a block is left that no fault explains.
func (c *comparison) understood() bool {
	left := c.bad
	for _, f := range c.faults {
		left -= f.Frames/c.size + 3
	}
	return c.explained() && 20*left <= c.good
}

// slip goes on at the next frame or so where the clock has drifted that far unnoticed: what is slow hides it. Nobody can
// tell a frame lost from that.
func (c *comparison) slip(frame, i int) (next int, err error) {
	by, found, err := c.shiftAt(frame+i, mostSlip)
	if err != nil || !found || by == 0 {
		return -1, err
	}
	if err := c.count(frame, i); err != nil {
		return -1, err
	}
	c.offset += by
	return frame + i, nil
}

// allow takes the tolerance of a filter fitted anew.
func (c *comparison) allow(j int, w wire) {
	t := w.tolerance(c.step)
	t.share = max(t.share, 6*leastFollowed)
	c.tolerances[j] = t
}

// follow fits the filters to the block at hand, if they leave more of it than of what they were fitted to.
func (c *comparison) follow(frame int) error {
	wires := c.expected.(*treated).wires
	stale := false
	for ch, w := range wires {
		stale = stale || c.left(ch) > 1.3*w.noise.share*rms(c.a[ch])+c.step
	}
	if !stale || len(c.a[0]) < followedFrames/2 {
		return nil
	}
	fitted, err := c.refit(wires, frame)
	if err != nil || fitted == nil {
		return err
	}
	if moved := fitted[0].middle(); moved != 0 { // the next frame is nearer now
		c.offset -= moved
		if fitted, err = c.refit(wires, frame); err != nil || fitted == nil {
			return err
		}
	}
	for ch, w := range fitted {
		wires[ch] = w
		c.allow(ch, w)
	}
	return nil
}

// left is the RMS of what is not explained of a channel of the block at hand.
func (c *comparison) left(ch int) float64 {
	sum := 0.0
	for i, v := range c.a[ch] {
		e := c.b[ch][i] - v
		sum += e * e
	}
	return math.Sqrt(sum / float64(len(c.a[ch])))
}

// refit fits filters to the block at hand; nil where they would explain it no better.
func (c *comparison) refit(wires []wire, frame int) ([]wire, error) {
	n := len(c.b[0])
	sent := pcm.Planes(len(wires), n+4*mostReach)
	if err := read(c.words, sent, frame+c.offset-2*mostReach); err != nil {
		return nil, err
	}
	fitted := make([]wire, len(wires))
	for ch, w := range wires {
		p := []pair{{a: sent[w.from][mostReach-w.late:][:n+2*mostReach], b: c.b[ch]}}
		f := c.follows.filter(p)
		f.from, f.late, f.noise = w.from, w.late, c.follows.left(f, p)
		if !f.filtered() || !(f.noise.share < 0.3) {
			return nil, nil
		}
		fitted[ch] = f
	}
	return fitted, nil
}

// middle returns how many frames later than in step the largest tap stands.
func (w wire) middle() int {
	best := len(w.taps) / 2
	for l, h := range w.taps {
		if math.Abs(h) > math.Abs(w.taps[best]) {
			best = l
		}
	}
	return best - len(w.taps)/2
}
