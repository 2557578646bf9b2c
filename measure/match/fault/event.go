package fault

import (
	"math"
	"slices"

	"heardiff/measure/match/residual"
)

// event is something that happens to one of the captures for a while.
type event struct {
	from, to int // frames of A
	channels []int
	lost     string  // the capture that is silent then, or ""
	level    float64 // the largest power of the residual
	above    float64 // and as a ratio to what is usual there
	timed    bool    // to a millisecond, otherwise to 5 ms
	// The largest samples of A, and of B as it was corrected with the provisional gain; 0 where not looked at.
	peakA, peakB float64
}

// What counts as silent, against the other capture, and as music, against the channel's mean: 30 and 20 dB.
const (
	silent = 1e-3
	plays  = 1e-2
	// overRumble is how many times the power of a capture's rumble something must have to count as playing: a sine's power is at most twice
	// its mean. A judgement, no source; TestRumbleWhereTheMusicRestsIsNoDropout holds it.
	overRumble = 4
	// gap is how many stretches of 5 ms may lie between parts of one event.
	gap = 4
	// Beyond so many events only their number is reported.
	lookedAt = 50
)

// events returns what happens, in the order of time: dropouts and outbursts.
func (r Evidence) events() []event {
	var all []event
	for c := range r.Stretches {
		all = append(all, r.happens(c)...)
	}
	slices.SortStableFunc(all, func(x, y event) int { return x.from - y.from })
	if len(all) <= lookedAt {
		for i := range all {
			r.look(&all[i])
		}
	}
	return r.joined(all)
}

// happens returns what happens to one channel, to 5 ms.
func (r Evidence) happens(c int) []event {
	heights := r.Stretches[c]
	step := r.Rate.Hz() / 200
	lost := silences(heights, overRumble*r.RumbleA*step, overRumble*r.RumbleB*step)
	if lost == nil {
		return nil
	}
	gone := make([]bool, len(heights))
	for i, name := range lost {
		gone[i] = name != ""
	}
	ratio, out := above(heights, gone, step)
	var all []event
	last := -gap - 1
	for i, h := range heights {
		if !gone[i] && !out[i] {
			continue
		}
		end := h.At + int(step)
		if i+1 < len(heights) {
			end = heights[i+1].At
		}
		if i-last > gap {
			all = append(all, event{from: h.At, channels: []int{c + 1}, lost: lost[i]})
		}
		e := &all[len(all)-1]
		e.to, last = end, i
		if e.lost == "" {
			e.lost = lost[i]
		}
		if p := float64(h.Rem) / step; p > e.level {
			e.level, e.above = p, ratio[i]
		}
	}
	return all
}

// alwaysGone is the share of the time one capture plays for which the other must be silent to count as silent throughout, not for a while.
// A judgement, no source; TestADeadChannelIsNoDropout holds it.
const alwaysGone = 0.95

// silences returns for each stretch which capture is silent where the other plays; nil if one is silent throughout, or nearly so, since
// that is no dropout. A capture plays only above a least energy of its own.
func silences(heights []residual.Stretch, leastA, leastB float64) []string {
	var meanA, meanB float64
	for _, h := range heights {
		meanA += float64(h.A) / float64(len(heights))
		meanB += float64(h.B) / float64(len(heights))
	}
	if meanA < silent*meanB || meanB < silent*meanA {
		return nil
	}
	lost, playing, gone := make([]string, len(heights)), 0, 0
	for i, h := range heights {
		a, b := float64(h.A), float64(h.B)
		switch {
		case a > max(plays*meanA, leastA) && b < silent*a:
			lost[i] = "B"
		case b > max(plays*meanA, plays*meanB, leastB) && a < silent*b:
			lost[i] = "A"
		}
		if a > plays*meanA || b > plays*meanB {
			playing++
		}
		if lost[i] != "" {
			gone++
		}
	}
	if float64(gone) > alwaysGone*float64(playing) {
		return nil
	}
	bridge(lost, func(i int) bool { return float64(heights[i].A) < silent*plays*meanB }, "A")
	bridge(lost, func(i int) bool { return float64(heights[i].B) < silent*plays*meanA }, "B")
	return lost
}

// bridge joins two stretches in which a capture is silent where it is silent between them as well, though the other
// plays too softly there for that to count by itself.
func bridge(lost []string, silent func(i int) bool, name string) {
	last := -1
	for i := range lost {
		if lost[i] == name {
			for k := last + 1; last >= 0 && k < i; k++ {
				lost[k] = name
			}
			last = i
		} else if !silent(i) {
			last = -1
		}
	}
}

// joined makes one event of the events that several channels show at once.
func (r Evidence) joined(all []event) []event {
	near := int(r.Rate) / 500
	var out []event
	for _, e := range all {
		i := slices.IndexFunc(out, func(o event) bool {
			return o.lost == e.lost && max(o.from, e.from) < min(o.to, e.to)+near && !slices.Contains(o.channels, e.channels[0])
		})
		if i < 0 {
			out = append(out, e)
			continue
		}
		o := &out[i]
		o.from, o.to = min(o.from, e.from), max(o.to, e.to)
		o.channels = append(o.channels, e.channels...)
		o.peakA, o.peakB = max(o.peakA, e.peakA), max(o.peakB, e.peakB)
		o.level, o.above, o.timed = max(o.level, e.level), max(o.above, e.above), o.timed && e.timed
	}
	return out
}

// look reads the captures once more around an event, to find its ends to about a millisecond and whether one is silent then.
// An event that hardly exceeds what is usual has no such ends.
func (r Evidence) look(e *event) {
	if e.above < leastOutburst {
		return
	}
	margin, most := int(r.Rate)/100, int(r.Rate)/10 // 10 and 100 ms
	c := e.channels[0] - 1
	head := r.piece(c, e.from-margin, min(e.to+margin, e.from+most))
	tail := head
	if e.to+margin > e.from+most {
		tail = r.piece(c, e.to-margin, e.to+margin)
	}
	limit := e.level / math.Sqrt(e.above)
	first, ok1 := head.first(limit, e.from+margin)
	last, ok2 := tail.last(limit, e.to-margin)
	if !ok1 || !ok2 || first >= last {
		return
	}
	e.from, e.to, e.timed = first, last, true
	if e.lost == "" {
		e.lost = head.lost(first, min(last, head.at+len(head.a)))
	}
	for i := max(0, first-head.at); i < min(len(head.a), last-head.at); i++ {
		e.peakA, e.peakB = max(e.peakA, math.Abs(head.a[i])), max(e.peakB, math.Abs(head.b[i]))
	}
}

// piece is a stretch of one channel: A, B as corrected, and the audible part of A − B.
type piece struct {
	at        int
	box       int // frames over which powers are averaged, 0.25 ms
	a, b, rem []float64
}

func (r Evidence) piece(c, from, to int) piece {
	p := piece{box: max(1, int(r.Rate)/4000)}
	p.at, p.a, p.b, p.rem = r.Look(c, from, to)
	return p
}

// powers returns the power of R around each frame from half a box on.
func (p piece) powers() []float64 {
	var out []float64
	sum := 0.0
	for i, v := range p.rem {
		sum += v * v
		if i >= p.box {
			sum -= p.rem[i-p.box] * p.rem[i-p.box]
		}
		if i+1 >= p.box {
			out = append(out, sum/float64(p.box))
		}
	}
	return out
}

// first returns the first frame before until at which the power of R exceeds limit.
func (p piece) first(limit float64, until int) (at int, ok bool) {
	for i, v := range p.powers() {
		if at := p.at + i + p.box - 1; v > limit && at < until {
			return at, true
		}
	}
	return 0, false
}

// last returns the last frame after from up to which the power of R exceeds limit.
func (p piece) last(limit float64, from int) (at int, ok bool) {
	for i, v := range p.powers() {
		if v > limit && p.at+i > from {
			at, ok = p.at+i+1, true
		}
	}
	return at, ok
}

// lost says which capture is silent from one frame to another, leaving out a box at either end, where an interpolator rings.
func (p piece) lost(from, to int) string {
	guard := p.box
	var a, b float64
	for i := max(0, from+guard-p.at); i < min(len(p.a), to-guard-p.at); i++ {
		a += p.a[i] * p.a[i]
		b += p.b[i] * p.b[i]
	}
	switch {
	case b < plays*a:
		return "B"
	case a < plays*b:
		return "A"
	}
	return ""
}
