package integrity

import (
	"math"

	"heardiff/playback/pcm"
)

const (
	// farthestProbe is how many blocks after a break the search still looks nearby.
	farthestProbe = 64
	// mostSearches bounds how often all of what was sent is searched where words are not the same.
	mostSearches = 8
)

// resync looks for the place to go on from where the current block differs, if that is worth the work. It returns the received frame
// to go on from, −1 if it is there already.
func (c *comparison) resync(frame, n int) (next int, err error) {
	switch {
	case c.good == 0 && !c.realigned:
		return c.realign(frame)
	case (c.good > 0 || c.startsAsExpected()) && frame+n > c.nothingBefore && c.attempts < mostAttempts+c.good:
		return c.resyncNear(frame, n)
	}
	return -1, nil
}

// leastStart is how many frames of a block must be as expected before a break. A judgement, no source; TestALossMadeUpForSpoilsNothingBetween
// holds it.
const leastStart = 64

// startsAsExpected reports whether the current block is what is expected up to a break.
func (c *comparison) startsAsExpected() bool {
	return c.firstWrong >= leastStart && !c.plain(pcm.Part(c.a, 0, c.firstWrong))
}

// realign checks, where nothing but silence has been equal yet, whether the recording begins at another offset: the stretch that was looked
// for may come after a loss. If so the comparison starts over, at the received frame it returns; otherwise it returns −1.
func (c *comparison) realign(frame int) (next int, err error) {
	c.realigned = true
	by, err := c.realignment(frame)
	if err != nil || by == 0 {
		return -1, err
	}
	c.offset += by
	c.at.offset = c.offset
	c.compared, c.different, c.wrong, c.first, c.good, c.bad, c.faults = 0, 0, 0, -1, 0, 0, nil
	return max(0, -c.offset), nil
}

// realignment returns by how many frames the beginning is elsewhere.
func (c *comparison) realignment(frame int) (by int, err error) {
	if c.exact() {
		h, found, err := c.nextHit(frame)
		if err != nil || !found {
			return 0, err
		}
		return h.sent - h.received - c.offset, nil
	}
	for _, ahead := range []int{0, blockFrames} {
		by, found, err := c.shiftAt(frame+ahead, farthestJump)
		if err != nil || found {
			return by, err
		}
	}
	return 0, nil
}

// resyncNear tries to find the sent frames after equal blocks have come to an end: frames were lost, repeated or
// inserted, and from there on the offset is another. It returns the received frame to go on from, −1 if it did not move.
func (c *comparison) resyncNear(frame, n int) (next int, err error) {
	c.attempts++
	i := c.firstWrong
	const near, far = 1, farthestJump
	// Back in step by itself soon: a stretch was muted or replaced. That is tried first, otherwise a block played twice in place would
	// count as frames that came in and others that were lost. Farther on it is tried last, otherwise frames lost and others put in seconds
	// later would spoil all between them.
	for _, probe := range []struct{ later, reach int }{ // later: the break itself may hold rubbish
		{0, near}, {n, near}, {4 * n, near}, {0, far}, {n, far}, {4 * n, far},
		{16 * n, near}, {16 * n, far}, {farthestProbe * n, near}, {farthestProbe * n, far},
	} {
		by, found, err := c.shiftAt(frame+i+probe.later, probe.reach)
		switch {
		case err != nil:
			return -1, err
		case found && by == 0:
			return -1, nil
		case found && probe.reach == far:
			return c.moveUnlessInPlace(frame, i, by)
		}
	}
	return c.resyncFar(frame, i)
}

// moveUnlessInPlace is move, except where a block was played twice, over what should have followed it.
func (c *comparison) moveUnlessInPlace(frame, i, by int) (next int, err error) {
	if by < 0 {
		back, found, err := c.shiftAt(frame+i-by, 1)
		if err != nil || found && back == 0 {
			return -1, err
		}
	}
	if !c.exact() {
		if i, err = c.breakAt(frame, i, by); err != nil {
			return -1, err
		}
	}
	return c.move(frame, i, by)
}

// breakAt returns where before frame i of the current block the one offset ends and the other begins: the first words that differ may by
// chance be within the tolerance.
func (c *comparison) breakAt(frame, i, by int) (int, error) {
	const reach = 256
	from := max(0, i-reach)
	if i == from {
		return i, nil
	}
	moved, err := pcm.Around(c.expected, frame+from+c.offset+by, i-from)
	if err != nil {
		return i, err
	}
	best, least, sum := i, 0.0, 0.0
	for k := i - 1; k >= from; k-- {
		for ch := range c.a {
			stays, goes := c.b[ch][k]-c.a[ch][k], c.b[ch][k]-moved[ch][k-from]
			sum += goes*goes - stays*stays
		}
		if sum < least {
			best, least = k, sum
		}
	}
	return best, nil
}

// resyncFar is resyncNear where the sent frames are nowhere near.
func (c *comparison) resyncFar(frame, i int) (next int, err error) {
	h, found, err := c.nextHit(frame + i)
	if err != nil {
		return -1, err
	}
	if !found {
		// What sent holds several times is not looked up, and may be near.
		c.nothingBefore = frame + farthestProbe*blockFrames
		return -1, nil
	}
	if by := h.sent - h.received - c.offset; by != 0 {
		return c.moveUnlessInPlace(frame, i, by)
	}
	c.nothingBefore = h.received
	return -1, nil
}

// nextHit returns the next place, from a received frame on, where received frames are in sent: looked up where words
// are the same, else correlated.
func (c *comparison) nextHit(frame int) (h hit, found bool, err error) {
	if !c.exact() {
		return c.correlated(frame + 2*blockFrames) // the break itself may hold rubbish
	}
	if c.lookup == nil {
		if c.lookup, err = newLookup(c.expected, c.received); err != nil {
			return hit{}, false, err
		}
	}
	return c.lookup.next(frame)
}

// correlated looks for received frames in all that is expected.
func (c *comparison) correlated(frame int) (h hit, found bool, err error) {
	block, err := pcm.Around(c.received, frame, anchorFrames)
	if err != nil {
		return hit{}, false, err
	}
	if c.plain(block) || c.searches == mostSearches || frame+anchorFrames > c.received.Frames() {
		return hit{}, false, nil
	}
	c.searches++
	loudest := 0
	for ch := range block {
		if rms(block[ch]) > rms(block[loudest]) {
			loudest = ch
		}
	}
	at, err := search(c.received, c.expected, loudest, frame)
	const certain = 0.8 // a resampler may leave as little at the end of a band that noise fills
	return hit{received: frame, sent: at.frame}, at.score > certain && at.channel == loudest, err
}

// shiftAt looks for received frames at a frame within reach of where they should be in sent: the nearest first or, where words need not be
// the same, where they fit best.
func (c *comparison) shiftAt(at, reach int) (by int, found bool, err error) {
	probe := 64 // frames that must be equal
	if !c.exact() {
		probe = 256
	}
	if at+probe > c.received.Frames() {
		return 0, false, nil
	}
	ahead, err := pcm.Around(c.received, at, probe)
	if err != nil || c.plain(ahead) {
		return 0, false, err
	}
	around, err := pcm.Around(c.expected, at+c.offset-reach, 2*reach+probe)
	if err != nil {
		return 0, false, err
	}
	limits := c.limitsFor(ahead)
	least := math.Inf(1)
	for d := range reach + 1 {
		for _, shift := range []int{d, -d} {
			residual, ok := fits(around, reach+shift, ahead, 0, probe, limits)
			if ok && c.exact() {
				return shift, true, nil
			}
			if ok && residual < least/2 { // no better by chance
				by, found, least = shift, true, residual
			}
		}
	}
	return by, found, nil
}

// fits reports whether n frames of what is expected, from i on, and of what was received, from k on, are the same within
// limits, and returns the power of what they differ by.
func fits(a [][]float64, i int, b [][]float64, k, n int, limits []tolerance) (residual float64, ok bool) {
	for ch := range a {
		if i+n > len(a[ch]) || k+n > len(b[ch]) {
			return 0, false
		}
		limit, sum := limits[ch], 0.0
		for j := range n {
			e := a[ch][i+j] - b[ch][k+j]
			if math.Abs(e) > limit.peak {
				return 0, false
			}
			sum += e * e
		}
		if sum > float64(n)*limit.rms*limit.rms {
			return 0, false
		}
		residual += sum
	}
	return residual, true
}

// move notes that the recordings part at frame i of the block: by frames of sent were lost, or −by frames came in.
func (c *comparison) move(frame, i, by int) (next int, err error) {
	if err := c.count(frame, i); err != nil {
		return -1, err
	}
	cause, frames, next := Dropout, by, frame+i
	if by < 0 {
		cause, frames, next = c.added(frame+i, -by), -by, frame+i-by
	}
	c.faults = append(c.faults, Fault{Cause: cause, Frame: frame + c.offset + i, Frames: frames})
	if c.first < 0 {
		c.first = frame + c.offset + i
	}
	c.compared += frames * len(c.a)
	c.different += frames * len(c.a)
	c.wrong += frames * len(c.a)
	c.offset += by
	return next, nil
}
