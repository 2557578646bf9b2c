package integrity

import (
	"math"
	"slices"

	"heardiff/playback/pcm"
)

// filtered reports whether a filter may have smeared what is in the recording.
func (c *comparison) filtered() bool {
	return slices.ContainsFunc(c.tolerances, func(t tolerance) bool { return t.share > 0 })
}

// edge is how many frames at either end of a fault a filter may have smeared.
func (c *comparison) edge(frames int) int {
	if c.filtered() {
		return min(2*filterReach, frames/4)
	}
	return 0
}

// noteLocal notes a fault within the current block that did not change the timing: muted, or filled with what was before.
func (c *comparison) noteLocal(frame int) {
	first, last := c.firstWrong, c.lastWrong
	f := Fault{Cause: Unknown, Frame: frame + c.offset + first, Frames: last - first + 1}
	if muted, channel := c.muted(first, last); muted {
		f.Cause, f.Channel = Dropout, channel
	} else if c.good > 0 && c.repeats(frame, first, last) {
		f.Cause = Repeat
	}
	c.note(f)
}

// note adds a fault, or makes the one before longer.
func (c *comparison) note(f Fault) {
	if k := len(c.faults) - 1; k >= 0 && c.continues(c.faults[k], f) {
		before := &c.faults[k]
		if before.Cause == Unknown {
			before.Cause, before.Channel = f.Cause, f.Channel
		}
		before.Frames = f.Frame + f.Frames - before.Frame
		return
	}
	const most = 1000 // a list of a fault in every block is of no use
	if len(c.faults) < most {
		c.faults = append(c.faults, f)
	}
}

// joinedGap is the largest gap, in frames, across which two faults of one cause are one that was cut by the end of a block. A judgement, no
// source; TestMutedToTheEndIsADropout holds it.
const joinedGap = blockFrames / 8

// continues reports whether a fault is the one before, cut by the end of a block. A filter's ringing at an end of a fault is a short piece
// without a cause.
func (c *comparison) continues(before, f Fault) bool {
	gap := f.Frame - before.Frame - before.Frames
	if before.Cause == f.Cause && before.Channel == f.Channel {
		return gap <= joinedGap
	}
	rings := func(f Fault) bool { return f.Cause == Unknown && f.Frames <= 2*filterReach }
	return c.filtered() && gap <= filterReach && (rings(before) || rings(f))
}

// muted reports whether zeros are in frames first to last of the block, in all channels or, counted from 1, in the only
// one that differs.
func (c *comparison) muted(first, last int) (muted bool, channel int) {
	all := true
	for ch := range c.b {
		same := true
		for i := first; i <= last; i++ {
			same = same && !c.differs(ch, i)
		}
		zeros := c.zeros(ch, first, last)
		all = all && zeros
		switch {
		case same:
		case !zeros || channel > 0:
			channel = -1
		case channel == 0:
			channel = ch + 1
		}
	}
	if all {
		return true, 0
	}
	return channel > 0, channel
}

// ringing is the level of a filter's ringing, relative to what is expected, some way from the ends of a mute: −26 dB. A judgement, no source;
// TestWhatAFilterRingsIsNothing holds it.
const ringing = 0.05

// zeros reports whether nothing was received in frames first to last of a channel, except for a filter's ringing.
func (c *comparison) zeros(ch, first, last int) bool {
	edge := c.edge(last - first + 1)
	a, b := c.a[ch][first+edge:last+1-edge], c.b[ch][first+edge:last+1-edge]
	if edge > 0 && rms(b) < ringing*rms(a) {
		return true
	}
	for _, v := range b {
		if math.Abs(v) > c.tolerances[ch].peak { // a word that was muted may have been dithered after
			return false
		}
	}
	return true
}

// longestRepeat is how far back a repeated block is looked for, in frames.
const longestRepeat = 1 << 15

// leastRepeat is how many frames of a repeat must be equal, without its edges: fewer may be so by chance. A judgement, no source; TestCausesAreNamed
// holds it.
const leastRepeat = 8

// repeats reports whether the received frames first to last of the block equal an earlier stretch of sent.
func (c *comparison) repeats(frame, first, last int) bool {
	edge := c.edge(last - first + 1)
	first, last = first+edge, last-edge
	n := last - first + 1
	if n < leastRepeat {
		return false
	}
	past, err := pcm.Around(c.expected, frame+c.offset+first-longestRepeat, longestRepeat+blockFrames)
	if err != nil {
		return false
	}
	for back := 1; back <= longestRepeat; back++ {
		if _, ok := fits(past, longestRepeat-back, c.b, first, min(n, 256), c.limits); ok {
			return true
		}
	}
	return false
}

// added names frames that came in: muted where they are zeros, unless it is one frame and the one before is zero too.
// That is a sample played twice, as where the clocks of sender and receiver are not locked.
func (c *comparison) added(at, frames int) Cause {
	const from = 1 // the frame before
	extra, err := pcm.Around(c.received, at-from, from+min(frames, blockFrames))
	if err != nil {
		return Repeat
	}
	if _, ok := fits(extra, 0, extra, from, 1, c.limits); frames == 1 && ok {
		return Repeat
	}
	for ch, x := range extra {
		for _, v := range x[from:] {
			if math.Abs(v) > c.tolerances[ch].peak {
				return Repeat
			}
		}
	}
	return Dropout
}
