package integrity

import (
	"math"
	"slices"

	"heardiff/playback/pcm"
)

const (
	blockFrames = 4096
	// mostAttempts bounds the work where nothing is found any more; every equal block allows one more.
	mostAttempts = 100
)

// comparison walks through both recordings in step, and finds the place to go on from where frames were lost or repeated.
//
// The words expected are those sent, or what a chain that does the same to all of them makes of them; a word differs if it is off the
// expected one by more than a tolerance. Mismatches are counted against the words that were sent.
type comparison struct {
	words, expected, received pcm.Reader
	tolerances                []tolerance // of each channel; zero where words are to be the same
	at                        placed
	step                      float64

	size                int // of a block
	offset              int // frame of sent less frame of received, now
	a, b                [][]float64
	sent                [][]float64 // words as they were sent, where a holds others
	limits              []tolerance // in the current block
	firstWrong          int         // frame of the current block that is not what is expected
	lastWrong           int
	compared, different int
	wrong               int // samples that are not what is expected
	first               int // frame of sent, −1: none
	good, bad           int // blocks without and with a difference; those of equal silence are neither
	faults              []Fault
	attempts            int // at finding the place to go on from
	searches            int // of all of the recording
	nothingBefore       int // frame of received: the search has looked up to there
	lookup              *lookup
	realigned           bool // the beginning has been searched for a second time
}

func newComparison(sent, received pcm.Reader, at placed, step float64) *comparison {
	n := sent.Format().Channels
	// A short recording needs short blocks, so that some are intact in spite of a fault.
	size := min(blockFrames, max(256, min(sent.Frames(), received.Frames())/16))
	return &comparison{
		size:  size,
		words: sent, expected: sent, received: received, at: at, step: step, offset: at.offset, first: -1,
		a: pcm.Planes(n, blockFrames), b: pcm.Planes(n, blockFrames), tolerances: make([]tolerance, n),
	}
}

// against returns a comparison with what wires make of the words sent.
func (c *comparison) against(wires []wire, top float64, at placed) *comparison {
	d := newComparison(c.words, c.received, at, c.step)
	d.expected = &treated{Reader: c.words, wires: wires, top: top}
	d.sent = pcm.Planes(len(wires), blockFrames)
	for ch, w := range wires {
		d.tolerances[ch] = w.tolerance(c.step)
	}
	return d
}

// exact reports whether words are to be the same.
func (c *comparison) exact() bool {
	return !slices.ContainsFunc(c.tolerances, func(t tolerance) bool { return t != tolerance{} })
}

// run compares all frames that both have.
func (c *comparison) run() error {
	for frame := max(0, -c.offset); frame < c.received.Frames() && frame+c.offset < c.expected.Frames(); {
		n := min(c.size, c.received.Frames()-frame, c.expected.Frames()-frame-c.offset)
		wrong, err := c.block(frame, n)
		if err != nil {
			return err
		}
		next := -1
		if wrong > 0 {
			if next, err = c.resync(frame, n); err != nil {
				return err
			}
		}
		if next >= 0 {
			frame = next
			continue
		}
		if err := c.tally(frame, n, wrong); err != nil {
			return err
		}
		frame += n
	}
	return nil
}

// block reads n frames, counts the samples that differ from what is expected, and notes the first and the last frame that do.
func (c *comparison) block(frame, n int) (wrong int, err error) {
	c.a, c.b = pcm.Part(c.a, 0, n), pcm.Part(c.b, 0, n)
	if err := pcm.ReadAround(c.expected, c.a, frame+c.offset); err != nil {
		return 0, err
	}
	if err := pcm.ReadAround(c.received, c.b, frame); err != nil {
		return 0, err
	}
	c.limits = c.limitsFor(c.a)
	c.firstWrong, c.lastWrong = n, -1
	for ch := range c.a {
		for i := range c.a[ch] {
			if c.differs(ch, i) {
				wrong++
				c.firstWrong, c.lastWrong = min(c.firstWrong, i), max(c.lastWrong, i)
			}
		}
	}
	return wrong, nil
}

// limitsFor returns the tolerances of each channel for a stretch.
func (c *comparison) limitsFor(x [][]float64) []tolerance {
	limits := make([]tolerance, len(x))
	for ch := range c.tolerances {
		limits[ch] = c.tolerances[ch].allows(x[ch])
	}
	return limits
}

// differs reports whether a word of the current block is not what is expected.
func (c *comparison) differs(ch, i int) bool {
	return math.Abs(c.a[ch][i]-c.b[ch][i]) > c.limits[ch].peak
}

// tally adds the current block to the figures.
func (c *comparison) tally(frame, n, wrong int) error {
	c.wrong += wrong
	switch {
	case wrong > 0:
		c.bad++
	case !c.plain(c.a): // silence stays silence whatever is done to the words
		c.good++
	}
	if err := c.count(frame, n); err != nil {
		return err
	}
	if wrong > 0 {
		c.noteLocal(frame)
	}
	return nil
}

// count adds the first n frames of the current block against the words that were sent.
func (c *comparison) count(frame, n int) error {
	c.compared += n * len(c.a)
	sent := c.a
	if c.sent != nil {
		sent = pcm.Part(c.sent, 0, n)
		if err := pcm.ReadAround(c.words, sent, frame+c.offset); err != nil {
			return err
		}
	}
	for i := range n {
		for ch := range sent {
			if sent[ch][i] == c.b[ch][i] {
				continue
			}
			c.different++
			if c.first < 0 {
				c.first = frame + c.offset + i
			}
		}
	}
	return nil
}

// plain reports whether a stretch is too plain to show where it belongs.
func (c *comparison) plain(x [][]float64) bool {
	for ch := range x {
		least := 4 * c.tolerances[ch].peak
		low, high := x[ch][0], x[ch][0]
		for _, v := range x[ch] {
			if low, high = min(low, v), max(high, v); high-low > least {
				return false
			}
		}
	}
	return true
}

// explained reports whether what differs is local: most of the recording is what is expected, or stretches lost, muted or
// repeated hold most of what differs, however long they are.
func (c *comparison) explained() bool {
	if c.good == 0 {
		return false
	}
	frames := 0
	for _, f := range c.faults {
		if f.Cause == Dropout || f.Cause == Repeat {
			frames += f.Frames
		}
	}
	return c.good >= c.bad/2 || 2*frames*len(c.a) > c.wrong
}
