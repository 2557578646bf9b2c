package integrity

import (
	"heardiff/measure"
	"heardiff/playback/pcm"
)

const (
	// mostWindows is how many windows of sent are kept at the most: some 40 MB, however long the recording is.
	mostWindows = 1 << 19
	// denseSieve keeps one window in sixteen of a short recording.
	denseSieve = 4
	// several is the place of a window that sent holds more than once: none.
	several = -1
)

// lookup finds received words anywhere in the sent recording, by their contents.
//
// Only windows whose hash begins with a number of zeros are kept and looked up: which those are depends on the words alone,
// so that both recordings choose the same ones. The received recording is gone through once, onwards from where the
// search was last: what never agrees any more costs one passage through either recording.
type lookup struct {
	received pcm.Reader
	shift    int            // of a hash, that leaves the zeros
	places   map[uint64]int // first frame of the window in sent
	roller   measure.Roller
	frame    int // of received, that comes next
	block    [][]float64
	hits     []hit // in what was read
}

// hit is a window at one frame of received and at one alone of sent.
type hit struct{ received, sent int }

// newLookup reads all of sent.
func newLookup(sent, received pcm.Reader) (*lookup, error) {
	sieve := denseSieve
	for sent.Frames()>>sieve > mostWindows {
		sieve++
	}
	l := &lookup{
		received: received, shift: 64 - sieve, places: map[uint64]int{},
		block: pcm.Planes(received.Format().Channels, blockFrames),
	}
	roller := measure.Roller{}
	return l, pcm.Blocks(sent, blockFrames, func(block [][]float64, from int) error {
		l.windows(&roller, block, from, func(hash uint64, frame int) {
			if _, known := l.places[hash]; known {
				frame = several
			}
			l.places[hash] = frame
		})
		return nil
	})
}

// windows calls visit with the first frame of each kept window that ends within a block, which begins at frame from.
func (l *lookup) windows(roller *measure.Roller, block [][]float64, from int, visit func(hash uint64, frame int)) {
	for i := range block[0] {
		if hash, ok := roller.Write(measure.RollWord(block, i)); ok && hash>>l.shift == 0 {
			visit(hash, from+i+1-measure.RollFrames)
		}
	}
}

// next returns the first hit at or after a frame of received. The frames asked for must not decrease from call to call.
func (l *lookup) next(from int) (h hit, found bool, err error) {
	for {
		for len(l.hits) > 0 && l.hits[0].received < from {
			l.hits = l.hits[1:]
		}
		if len(l.hits) > 0 {
			return l.hits[0], true, nil
		}
		if l.frame < from {
			l.roller, l.frame = measure.Roller{}, from
		}
		if l.frame >= l.received.Frames() {
			return hit{}, false, nil
		}
		if err := l.scan(); err != nil {
			return hit{}, false, err
		}
	}
}

// scan looks up the windows of the next block of received.
func (l *lookup) scan() error {
	n := min(blockFrames, l.received.Frames()-l.frame)
	block := pcm.Part(l.block, 0, n)
	if err := pcm.ReadAround(l.received, block, l.frame); err != nil {
		return err
	}
	l.hits = l.hits[:0]
	l.windows(&l.roller, block, l.frame, func(hash uint64, frame int) {
		if at, known := l.places[hash]; known && at != several {
			l.hits = append(l.hits, hit{received: frame, sent: at})
		}
	})
	l.frame += n
	return nil
}
