package integrity

import (
	"math"

	"heardiff/playback/pcm"
)

const (
	blockFrames = 4096
	// mostAttempts bounds the work where nothing can be found again; every equal block allows one more.
	mostAttempts = 100
	// farthestProbe is how many blocks after a break the search still looks nearby.
	farthestProbe = 64
)

// comparison walks through both recordings in step, and finds its way again where frames were lost or repeated.
type comparison struct {
	sent, received pcm.Reader
	at             placed
	shortBits      int // of the received words

	offset              int // frame of sent less frame of received, now
	a, b                [][]float64
	compared, different int
	first               int // frame of sent, −1: none
	good, bad           int // blocks without and with mismatches; those of equal silence are neither
	cut                 int // samples that are the sent ones cut or rounded to the shorter word
	ss, sr, rr          float64
	peakError           float64
	faults              []Fault
	attempts            int // at finding the way again
	nothingBefore       int // frame of received: the search has looked up to there
	lookup              *lookup
	begun               bool // the beginning has been looked for again
	warnings            []string
}

func newComparison(sent, received pcm.Reader, at placed, shortBits int) *comparison {
	n := sent.Format().Channels
	return &comparison{
		sent: sent, received: received, at: at, shortBits: shortBits, offset: at.offset, first: -1,
		a: pcm.Planes(n, blockFrames), b: pcm.Planes(n, blockFrames),
	}
}

// run compares all frames that both have.
func (c *comparison) run() error {
	for frame := max(0, -c.offset); frame < c.received.Frames() && frame+c.offset < c.sent.Frames(); {
		n := min(blockFrames, c.received.Frames()-frame, c.sent.Frames()-frame-c.offset)
		wrong, err := c.block(frame, n)
		if err != nil {
			return err
		}
		next := -1
		if wrong > 0 {
			if next, err = c.findAgain(frame, n); err != nil {
				return err
			}
		}
		if next >= 0 {
			frame = next
			continue
		}
		c.tally(frame, n, wrong)
		frame += n
	}
	return nil
}

// findAgain looks for the way where the block at hand differs, if that is worth the work. It returns the received frame
// to go on from, −1 if that is where it stands.
func (c *comparison) findAgain(frame, n int) (next int, err error) {
	switch {
	case c.good == 0 && !c.begun:
		return c.begin(frame)
	case c.good > 0 && frame+n > c.nothingBefore && c.attempts < mostAttempts+c.good:
		return c.recover(frame, n)
	}
	return -1, nil
}

// begin asks, where nothing has been equal yet but silence, whether the recording begins at another offset: the
// stretch that was looked for may stand after a loss. If so all begins again, at the received frame it returns; else −1.
func (c *comparison) begin(frame int) (next int, err error) {
	c.begun = true
	h, found, err := c.nextHit(frame)
	if err != nil || !found || h.sent-h.received == c.offset {
		return -1, err
	}
	at := c.at
	at.offset = h.sent - h.received
	fresh := newComparison(c.sent, c.received, at, c.shortBits)
	fresh.begun, fresh.lookup = true, c.lookup
	*c = *fresh
	return max(0, -c.offset), nil
}

// block reads n frames and counts the samples that differ.
func (c *comparison) block(frame, n int) (wrong int, err error) {
	for ch := range c.a {
		c.a[ch], c.b[ch] = c.a[ch][:n], c.b[ch][:n]
	}
	if err := read(c.sent, c.a, frame+c.offset); err != nil {
		return 0, err
	}
	if err := read(c.received, c.b, frame); err != nil {
		return 0, err
	}
	for ch := range c.a {
		for i, v := range c.a[ch] {
			if v != c.b[ch][i] {
				wrong++
			}
		}
	}
	return wrong, nil
}

// tally adds the block at hand to the figures.
func (c *comparison) tally(frame, n, wrong int) {
	c.compared += n * len(c.a)
	c.different += wrong
	switch {
	case wrong > 0:
		c.bad++
	case !quiet(c.a): // silence stays silence whatever is done to the words
		c.good++
	}
	scale := math.Ldexp(1, c.shortBits-1)
	for ch := range c.a {
		for i, s := range c.a[ch] {
			r := c.b[ch][i]
			if !c.clipped(r) { // a clipped word tells no gain
				c.ss += s * s
				c.sr += s * r
				c.rr += r * r
			}
			c.peakError = max(c.peakError, math.Abs(r-s))
			if x := s * scale; r*scale == math.Floor(x) || r*scale == math.Round(x) || r*scale == math.Trunc(x) {
				c.cut++
			}
		}
	}
	if wrong > 0 {
		i := c.firstWrong()
		if c.first < 0 {
			c.first = frame + c.offset + i
		}
		c.local(frame, i)
	}
}

func (c *comparison) firstWrong() int {
	for i := range c.a[0] {
		for ch := range c.a {
			if c.a[ch][i] != c.b[ch][i] {
				return i
			}
		}
	}
	return len(c.a[0])
}

func (c *comparison) lastWrong() int {
	for i := len(c.a[0]) - 1; i >= 0; i-- {
		for ch := range c.a {
			if c.a[ch][i] != c.b[ch][i] {
				return i
			}
		}
	}
	return -1
}

// local notes a fault within the block at hand that left the timing alone: muted, or filled with what was before.
func (c *comparison) local(frame, first int) {
	last := c.lastWrong()
	muted := true
	for ch := range c.b {
		for i := first; i <= last; i++ {
			muted = muted && c.b[ch][i] == 0
		}
	}
	cause := Unknown
	switch {
	case muted:
		cause = Dropout
	case c.good > 0 && c.repeats(frame, first, last):
		cause = Repeat
	}
	at := frame + c.offset + first
	if k := len(c.faults) - 1; k >= 0 && c.faults[k].Cause == cause && c.faults[k].Frame+c.faults[k].Frames >= at-blockFrames/8 {
		c.faults[k].Frames = at + last - first + 1 - c.faults[k].Frame
		return
	}
	const most = 1000 // a fault of every block is no list to read
	if len(c.faults) < most {
		c.faults = append(c.faults, Fault{Cause: cause, Frame: at, Frames: last - first + 1})
	}
}

// longestRepeat is how far back a repeated block is looked for, in frames.
const longestRepeat = 1 << 15

// repeats reports whether the received frames first to last of the block equal an earlier stretch of sent.
func (c *comparison) repeats(frame, first, last int) bool {
	n := last - first + 1
	if n < 8 {
		return false
	}
	past := pcm.Planes(len(c.a), longestRepeat+blockFrames)
	from := frame + c.offset + first - longestRepeat
	if read(c.sent, past, from) != nil {
		return false
	}
	for back := 1; back <= longestRepeat; back++ {
		if equalAt(past, longestRepeat-back, c.b, first, min(n, 256)) {
			return true
		}
	}
	return false
}

func equalAt(a [][]float64, i int, b [][]float64, k, n int) bool {
	for ch := range a {
		if i+n > len(a[ch]) || k+n > len(b[ch]) {
			return false
		}
		for j := range n {
			if a[ch][i+j] != b[ch][k+j] {
				return false
			}
		}
	}
	return true
}

// recover tries to find the sent frames again after equal blocks have come to an end: frames were lost, repeated or
// inserted, and from there on the offset is another. It returns the received frame to go on from, −1 if it did not move.
func (c *comparison) recover(frame, n int) (next int, err error) {
	c.attempts++
	i := c.firstWrong()
	const near, far = 1, 1 << 16
	// In step again by itself soon: a stretch was muted or replaced. That is asked first, or a block played
	// twice in place would count as frames that came in and others that were lost. Farther on it is asked last, or frames
	// lost and others put in seconds later would spoil all between them.
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
	return c.recoverFar(frame, i)
}

// moveUnlessInPlace is move, but for a block that was played twice over what should have followed it.
func (c *comparison) moveUnlessInPlace(frame, i, by int) (next int, err error) {
	if by < 0 {
		back, found, err := c.shiftAt(frame+i-by, 1)
		if err != nil || found && back == 0 {
			return -1, err
		}
	}
	return c.move(frame, i, by), nil
}

// recoverFar is recover where the sent frames are nowhere near.
func (c *comparison) recoverFar(frame, i int) (next int, err error) {
	h, found, err := c.nextHit(frame + i)
	if err != nil {
		return -1, err
	}
	if !found {
		// What sent holds several times is not looked up, and may be near again.
		c.nothingBefore = frame + farthestProbe*blockFrames
		return -1, nil
	}
	if by := h.sent - h.received - c.offset; by != 0 {
		return c.moveUnlessInPlace(frame, i, by)
	}
	c.nothingBefore = h.received
	return -1, nil
}

func (c *comparison) nextHit(frame int) (h hit, found bool, err error) {
	if c.lookup == nil {
		if c.lookup, err = newLookup(c.sent, c.received); err != nil {
			return hit{}, false, err
		}
	}
	return c.lookup.next(frame)
}

// shiftAt looks for received frames at a frame within reach of where they should be in sent, nearest first.
func (c *comparison) shiftAt(at, reach int) (by int, found bool, err error) {
	const probe = 64 // frames that must be equal
	if at+probe > c.received.Frames() {
		return 0, false, nil
	}
	ahead, around := pcm.Planes(len(c.a), probe), pcm.Planes(len(c.a), 2*reach+probe)
	if err := read(c.received, ahead, at); err != nil || quiet(ahead) {
		return 0, false, err
	}
	if err := read(c.sent, around, at+c.offset-reach); err != nil {
		return 0, false, err
	}
	for d := range reach + 1 {
		for _, by := range []int{d, -d} {
			if equalAt(around, reach+by, ahead, 0, probe) {
				return by, true, nil
			}
		}
	}
	return 0, false, nil
}

// move notes that the recordings part at frame i of the block: move frames of sent were lost, or −move frames came in.
func (c *comparison) move(frame, i, move int) (next int) {
	cause, frames, next := Dropout, move, frame+i
	if move < 0 {
		cause, frames, next = c.added(frame+i, -move), -move, frame+i-move
	}
	c.faults = append(c.faults, Fault{Cause: cause, Frame: frame + c.offset + i, Frames: frames})
	if c.first < 0 {
		c.first = frame + c.offset + i
	}
	c.compared += (i + frames) * len(c.a) // what stands before the break is equal
	c.different += frames * len(c.a)
	c.offset += move
	return next
}

// added names frames that came in: muted where they are zeros, unless it is one frame and the one before is zero too.
// That is a sample played twice, as where the clocks of sender and receiver are not locked.
func (c *comparison) added(at, frames int) Cause {
	const from = 1 // the frame before
	extra := pcm.Planes(len(c.a), from+min(frames, blockFrames))
	if read(c.received, extra, at-from) != nil {
		return Repeat
	}
	if frames == 1 && equalAt(extra, 0, extra, from, 1) {
		return Repeat
	}
	for _, x := range extra {
		for _, v := range x[from:] {
			if v != 0 {
				return Repeat
			}
		}
	}
	return Dropout
}

// quiet reports whether a block is too plain to tell where it belongs.
func quiet(x [][]float64) bool {
	for ch := range x {
		for i := range x[ch] {
			if x[ch][i] != x[ch][0] {
				return false
			}
		}
	}
	return true
}
