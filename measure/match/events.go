package match

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/playback/pcm"
)

// event is something that happens to one of the captures for a while.
type event struct {
	from, to int // frames of A
	channels []int
	lost     string  // the capture that is silent then, or ""
	level    float64 // the largest power of what is left
	above    float64 // and as a ratio to what is usual there
	timed    bool    // to a millisecond, otherwise to 5 ms
	// The largest samples of A, and of B as it was corrected with the provisional gain; 0 where not looked at.
	peakA, peakB float64
}

// What counts as silent, against the other capture, and as music, against the channel's mean: 30 and 20 dB.
const (
	silent = 1e-3
	plays  = 1e-2
	// gap is how many stretches of 5 ms may lie between parts of one event.
	gap = 4
	// Beyond so many events nothing more is said than how many.
	lookedAt = 50
	// A peak is reached to within what an interpolator makes of it.
	reached = 0.97
)

// events returns what happens, in the order of time: dropouts, and where what is left stands out.
func (r *remainder) events() []event {
	var all []event
	for c := range r.heights {
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
func (r *remainder) happens(c int) []event {
	heights := r.heights[c]
	lost := silences(heights)
	if lost == nil {
		return nil
	}
	step := r.rate.Hz() / 200
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
		end := h.at + int(step)
		if i+1 < len(heights) {
			end = heights[i+1].at
		}
		if i-last > gap {
			all = append(all, event{from: h.at, channels: []int{c + 1}, lost: lost[i]})
		}
		e := &all[len(all)-1]
		e.to, last = end, i
		if e.lost == "" {
			e.lost = lost[i]
		}
		if p := float64(h.rem) / step; p > e.level {
			e.level, e.above = p, ratio[i]
		}
	}
	return all
}

// silences says of each stretch which capture is silent where the other plays; nil if one is so throughout, or on the
// whole, which is not for a while.
func silences(heights []height) []string {
	var meanA, meanB float64
	for _, h := range heights {
		meanA += float64(h.a) / float64(len(heights))
		meanB += float64(h.b) / float64(len(heights))
	}
	if meanA < silent*meanB || meanB < silent*meanA {
		return nil
	}
	lost, playing, gone := make([]string, len(heights)), 0, 0
	for i, h := range heights {
		a, b := float64(h.a), float64(h.b)
		switch {
		case a > plays*meanA && b < silent*a:
			lost[i] = "B"
		case b > plays*max(meanA, meanB) && a < silent*b:
			lost[i] = "A"
		}
		if max(a/(meanA+1e-300), b/(meanB+1e-300)) > plays {
			playing++
		}
		if lost[i] != "" {
			gone++
		}
	}
	if gone > playing*19/20 {
		return nil
	}
	bridge(lost, func(i int) bool { return float64(heights[i].a) < silent*plays*meanB }, "A")
	bridge(lost, func(i int) bool { return float64(heights[i].b) < silent*plays*meanA }, "B")
	return lost
}

// bridge makes one of two stretches in which a capture is silent where it is silent between them as well, though the other
// plays too softly then to tell by itself.
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

// joined makes one event of those that happen to several channels at once.
func (r *remainder) joined(all []event) []event {
	near := int(r.rate) / 500
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

// look reads the captures again around an event, to tell its ends to about a millisecond and whether one is silent then.
// An event that hardly stands out has no such ends.
func (r *remainder) look(e *event) {
	if e.above < leastOutburst {
		return
	}
	margin, most := int(r.rate)/100, int(r.rate)/10
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

func (r *remainder) piece(c, from, to int) piece {
	from, to = max(from, r.src.from), min(to, r.src.to)
	p := piece{at: from, box: max(1, int(r.rate)/4000)}
	if to <= from {
		return p
	}
	j, err := r.src.read(from, to-from)
	if err != nil { // it could be read before; what is known to 5 ms stays
		return p
	}
	y := pcm.Planes(len(j.a), to-from)
	r.src.rest(y, j, make([]float64, to-from), r.gain)
	heard := pcm.Planes(len(j.a), to-from)
	direct := make([]float64, len(y))
	for i := range r.curves {
		direct[i] = r.curves[i].direct()
	}
	r.src.heard(heard, r.src.room(len(y), to-from), y, direct, 1)
	p.a, p.b, p.rem = j.a[c], y[c], heard[c]
	for i, v := range y[c] {
		p.b[i] = p.a[i] - (v - direct[c])
	}
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

// first returns the frame before until from which on the power of R exceeds limit. A box exceeds it from its first frame
// that does.
func (p piece) first(limit float64, until int) (at int, ok bool) {
	for i, v := range p.powers() {
		if at := p.at + i + p.box - 1; v > limit && at < until {
			return at, true
		}
	}
	return 0, false
}

// last returns the frame after from up to which it does.
func (p piece) last(limit float64, from int) (at int, ok bool) {
	for i, v := range p.powers() {
		if v > limit && p.at+i > from {
			at, ok = p.at+i+1, true
		}
	}
	return at, ok
}

// lost says which capture is silent from one frame to another, a box from either end, where an interpolator rings.
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

// beside returns the events that are not the clipping that is said by itself: where what is left stands out at a peak of a
// clipped capture. Of too many to be looked at, none is taken for anything else.
func beside(events []event, found aligned) []event {
	clippedA, clippedB := found.a.clippedMore(found.b), found.b.clippedMore(found.a)
	return slices.DeleteFunc(slices.Clone(events), func(e event) bool {
		if e.lost != "" {
			return false
		}
		peak := clippedA && e.peakA >= reached*found.a.peak || clippedB && e.peakB*math.Abs(found.gain) >= reached*found.b.peak
		return peak || (clippedA || clippedB) && e.peakA == 0
	})
}

// teller puts events into words.
type teller struct {
	rate     pcm.Rate
	start    float64 // seconds of A at which its frames begin to count
	channels int
}

func (r *remainder) teller() teller { return teller{r.rate, r.start, len(r.heights)} }

// passing is what happens for a while only, and what was said of it.
type passing struct {
	teller
	events  []event
	changes []string // of level
	said    []string // all of it
}

// around parts the events into those that touch frames from to to of A, and the others.
func (p passing) around(from, to int) (within, outside []event) {
	for _, e := range p.events {
		if e.from < to && e.to > from {
			within = append(within, e)
		} else {
			outside = append(outside, e)
		}
	}
	return within, outside
}

// tell says what happens, dropouts first, each kind in each set of channels by itself.
func (r teller) tell(events []event, say func(string, ...any)) {
	var kinds []string
	groups := map[string][]event{}
	for _, lost := range []string{"A", "B", ""} {
		for _, e := range events {
			if e.lost != lost {
				continue
			}
			key := lost + fmt.Sprint(e.channels)
			if groups[key] == nil {
				kinds = append(kinds, key)
			}
			groups[key] = append(groups[key], e)
		}
	}
	for _, k := range kinds {
		if groups[k][0].lost != "" {
			r.dropout(groups[k], say)
		} else {
			r.outburst(groups[k], say)
		}
	}
}

func (r teller) dropout(all []event, say func(string, ...any)) {
	first, whole := all[0], event{timed: true}
	for _, e := range all {
		whole.to += e.to - e.from
		whole.timed = whole.timed && e.timed
	}
	other := map[string]string{"A": "B", "B": "A"}[first.lost]
	who, at := first.lost, r.start+r.rate.Seconds(first.from)
	if in := r.channelsOf(first); in != "" {
		who = in + " of " + who
	}
	if len(all) == 1 {
		say("%s is silent for %s where %s plays, %.3f s into A: a dropout", who, r.lasting(whole), other, at)
		return
	}
	say("%s is silent for %s in %d places where %s plays, first %.3f s into A for %s: dropouts", who, r.lasting(whole), len(all), other, at, r.lasting(first))
}

func (r teller) outburst(all []event, say func(string, ...any)) {
	first, most := all[0], 0.0
	for _, e := range all {
		most = max(most, e.above)
	}
	in := r.channelsOf(first)
	if in != "" {
		in = " in " + in
	}
	const causes = "a dropout, a click, a clipped peak, a held or a repeated buffer"
	at, length := r.start+r.rate.Seconds(first.from), r.lasting(first)
	if len(all) == 1 {
		say("what is left stands out for %s at %.3f s into A%s, %.0f dB above what is usual there: %s", length, at, in, pcm.PowerDB(most), causes)
		return
	}
	say("what is left stands out in %d places%s, first for %s at %.3f s into A, by up to %.0f dB above what is usual there: %s", len(all), in, length, at, pcm.PowerDB(most), causes)
}

// channelsOf names the channels of an event, "" if it happens to all.
func (r teller) channelsOf(e event) string {
	if len(e.channels) == r.channels {
		return ""
	}
	var names []string
	for _, c := range slices.Sorted(slices.Values(e.channels)) {
		names = append(names, fmt.Sprint(c))
	}
	if len(names) == 1 {
		return "channel " + names[0]
	}
	return "channels " + strings.Join(names, ", ")
}

// lasting writes how long an event is, in milliseconds, or seconds where it is long.
func (r teller) lasting(e event) string {
	about := ""
	if !e.timed {
		about = "about "
	}
	switch ms := 1000 * r.rate.Seconds(e.to-e.from); {
	case ms < 10:
		return fmt.Sprintf("%s%.1f ms", about, ms)
	case ms < 1000:
		return fmt.Sprintf("%s%.0f ms", about, ms)
	default:
		return fmt.Sprintf("%s%.2f s", about, ms/1000)
	}
}
