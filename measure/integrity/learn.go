package integrity

import (
	"math"
	"slices"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

const (
	// mostReach is how far a channel may be late, and a filter may reach, together.
	mostReach = 64 + filterReach
	// pieceFrames is short, so that a fault spoils little of what is learnt from.
	pieceFrames = 1024
	// learntFrom is how many stretches of the recording are learnt from, in addition to the one it was found by.
	learntFrom = 16
	// farthestJump is how far the place of one stretch may be from that of the one before.
	farthestJump = 1 << 16
	// fewSteps is the residual of words that were dithered twice: TPDF dither and rounding reach 1.5 steps.
	fewSteps = 4
	// coarsest is the word length from which words that were shortened on the way are recognised, though longer ones arrived.
	coarsest = 14
)

// What a stretch, a silent wire and a filter are recognised by. Judgement, no source; TestCausesAreNamed and the tests of combined_test.go
// hold them.
const (
	stretchScore = 0.6  // of the correlation at the place found first, for a stretch to be of the same recording
	ownPlace     = 1.1  // times the loss of correlation that the best place has, within which the common place is as good
	deadRatio    = 16   // of the level sent to the level received, at the least, on a dead wire
	filterShare  = 0.5  // of the received level, at the most, that a filter leaves unexplained
	rounding     = 1e-6 // of a correlation
)

// stretch is a stretch of both recordings, sent with mostReach frames more at either end.
type stretch struct {
	a, b   [][]float64
	offset int
	inside [2]int // first and last+1 of the frames that both hold
}

// learner finds out what a chain did to all that passed it.
type learner struct {
	sent, received pcm.Reader
	at             placed
	fitter
	stretches []stretch // in order
}

// learn returns the wires, and the learner that holds what they were learnt from.
func learn(sent, received pcm.Reader, at placed, bits int) (*learner, []wire, error) {
	step := math.Ldexp(1, 1-min(bits, 24))
	l := &learner{sent: sent, received: received, at: at, fitter: fitter{step: step, top: 1 - math.Ldexp(1, 1-bits)}}
	if err := l.gather(); err != nil {
		return nil, nil, err
	}
	wires := make([]wire, sent.Format().Channels)
	for j := range wires {
		wires[j] = l.wire(j)
	}
	return l, wires, nil
}

// gather reads stretches spread over the recording, outwards from the one it was found by: each is near the place of the one
// before it, unless frames were lost or repeated between.
func (l *learner) gather() error {
	end := max(0, l.received.Frames()-anchorFrames)
	anchor := min(max(l.at.frame, 0), end)
	middle, _, err := l.stretchAt(anchor, l.at.offset)
	if err != nil {
		return err
	}
	before, after := l.at.offset, l.at.offset
	var earlier, later []stretch
	for k := range learntFrom {
		if at := end * k / (learntFrom - 1); at > anchor {
			if later, after, err = l.append(later, at, after); err != nil {
				return err
			}
		}
		if at := end * (learntFrom - 1 - k) / (learntFrom - 1); at < anchor {
			if earlier, before, err = l.append(earlier, at, before); err != nil {
				return err
			}
		}
	}
	slices.Reverse(earlier)
	l.stretches = slices.Concat(earlier, []stretch{middle}, later)
	return nil
}

// append adds the stretch at a received frame if it is found, and returns its place.
func (l *learner) append(to []stretch, at, offset int) ([]stretch, int, error) {
	s, found, err := l.stretchAt(at, offset)
	if err != nil || !found {
		return to, offset, err
	}
	return append(to, s), s.offset, nil
}

// stretchAt reads a stretch, near the offset or anywhere within farthestJump of it.
func (l *learner) stretchAt(frame, offset int) (s stretch, found bool, err error) {
	for _, reach := range []int{mostReach, farthestJump} {
		s, found, err = l.find(frame, offset, reach)
		if err != nil || found {
			break
		}
	}
	if err != nil {
		return s, false, err
	}
	s.inside[0] = max(0, -(frame + s.offset))
	s.inside[1] = min(anchorFrames, l.received.Frames()-frame, l.sent.Frames()-frame-s.offset)
	s.a, err = pcm.Around(l.sent, frame+s.offset-mostReach, anchorFrames+2*mostReach)
	return s, found, err
}

// find looks for a stretch within reach of an offset.
func (l *learner) find(frame, offset, reach int) (s stretch, found bool, err error) {
	s.offset = offset
	if s.b, err = pcm.Around(l.received, frame, anchorFrames); err != nil {
		return s, false, err
	}
	around, err := pcm.Around(l.sent, frame+offset-reach, anchorFrames+2*reach)
	if err != nil {
		return s, false, err
	}
	b, x := s.b[l.at.channel], around[l.at.from]
	lag, score := bestLag(b, x)
	if math.Abs(score) < stretchScore*math.Abs(l.at.score) {
		return s, false, nil
	}
	// Half a sample late, two frames are as good: all stretches are to take the same.
	if own := x[reach:][:anchorFrames]; 1-math.Abs(spectrum.Correlation(own, b)) > ownPlace*(1-math.Abs(score))+rounding {
		s.offset += lag - reach
	}
	return s, true, nil
}

// bestLag returns where in x an anchor fits best, and how well.
func bestLag(anchor, x []float64) (lag int, score float64) {
	wide := make([]float64, spectrum.PowerOfTwo(len(x)))
	copy(wide, x)
	return best(spectrum.NewMatcher(anchor, len(wide)), wide)
}

// pairs returns the pieces of a sent and a received channel, the one late by some frames.
func (l *learner) pairs(from, channel, late int) []pair {
	var pairs []pair
	for _, s := range l.stretches {
		pairs = append(pairs, s.pairs(from, channel, late)...)
	}
	return pairs
}

func (s stretch) pairs(from, channel, late int) []pair {
	var pairs []pair
	for i := 0; i+pieceFrames <= anchorFrames; i += pieceFrames {
		if i < s.inside[0] || i+pieceFrames > s.inside[1] {
			continue
		}
		// Zeros replace what would be beyond the end of a late channel.
		a := make([]float64, pieceFrames+2*mostReach)
		lo := i - late
		for k := range a {
			if lo+k >= 0 && lo+k < len(s.a[from]) {
				a[k] = s.a[from][lo+k]
			}
		}
		pairs = append(pairs, pair{a: a, b: s.b[channel][i : i+pieceFrames]})
	}
	return pairs
}

// wire finds out what a received channel carries.
func (l *learner) wire(channel int) wire {
	from, late := l.source(channel)
	pairs := l.pairs(from, channel, late)
	w := l.fit(pairs)
	w.from, w.late = from, late
	loudest := func(side func(p pair) []float64) (most float64) {
		for _, p := range pairs {
			most = max(most, rms(side(p)))
		}
		return most
	}
	sent, received := loudest(pair.straight), loudest(func(p pair) []float64 { return p.b })
	w.unsent = sent < l.step
	if w.dead = !w.unsent && received <= fewSteps*l.step && sent > deadRatio*received; w.dead {
		w = wire{from: channel, taps: []float64{0}, dead: true, known: true}
	}
	return w
}

// fit tries what changes least first.
func (l *learner) fit(pairs []pair) wire {
	unit := l.robust(pairs, l.unit)
	if unit.known = unit.noise.words > 0; unit.noise.peak <= fewSteps*l.step {
		return unit
	}
	gain := l.robust(pairs, l.gain)
	if gain.known = gain.noise.peak <= fewSteps*l.step; gain.known {
		return gain
	}
	filter := l.robust(pairs, l.filter)
	if filter.filtered() && filter.noise.rms < gain.noise.rms/2 && filter.noise.share < filterShare {
		filter.known = true
		return filter
	}
	gain.known = gain.noise.peak <= fewSteps*math.Ldexp(1, 1-coarsest)
	if uncertain := 5 * gain.noise.share / math.Sqrt(float64(gain.noise.words)); math.Abs(math.Abs(gain.tap())-1) < uncertain {
		gain.taps[0] = math.Copysign(1, gain.tap())
	}
	return gain
}

// source returns which sent channel a received one carries, and how late: its own in step, unless another leaves much less.
func (l *learner) source(channel int) (from, late int) {
	const none = 1e-9 // what rounding leaves of nothing
	from = channel
	best := l.unlike(channel, channel, 0) / 4
	if best < none {
		return from, 0
	}
	for k := range l.sent.Format().Channels {
		for _, lag := range []int{0, l.lag(k, channel)} {
			if u := l.unlike(k, channel, lag); u < best {
				best, from, late = u, k, lag
			}
		}
	}
	return from, late
}

// lag returns how late a received channel is behind a sent one, in the stretch where it is loudest.
func (l *learner) lag(from, channel int) int {
	var loudest stretch
	most := 0.0
	for _, s := range l.stretches {
		if level := rms(s.b[channel]); level > most {
			most, loudest = level, s
		}
	}
	const slack = mostReach - filterReach
	if most == 0 {
		return 0
	}
	lag, _ := bestLag(loudest.b[channel], loudest.a[from][mostReach-slack:mostReach+anchorFrames+slack])
	return slack - lag
}

// unlike returns the median share of the received power that a sent channel does not explain, from 0 to 1.
func (l *learner) unlike(from, channel, late int) float64 {
	var shares []float64
	for _, p := range l.pairs(from, channel, late) {
		if floats.Dot(p.b, p.b) > 0 {
			r := spectrum.Correlation(p.straight(), p.b)
			shares = append(shares, 1-r*r)
		}
	}
	if len(shares) == 0 {
		return 1
	}
	return spectrum.Median(shares)
}
