package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"heardiff/stats/warning"
)

// What a pause of a tone is: judgement, no source; TestAnInterruptedToneIsMeasuredWhereItIsUnbroken, in measure/jitter, holds it.
const (
	// pauseS is the length, in seconds, from which on a stretch without the tone is a pause: a tone of 100 Hz or more crosses zero faster.
	pauseS = 1e-3
	// pauseBelow is how small samples of a pause are against the tone's peak.
	pauseBelow = 0.25
	// clearS is kept clear of a gap, in seconds.
	clearS = 0.05
	// leastClearS is the shortest stretch, in seconds, that is taken in place of one with gaps.
	leastClearS = 1.0
	// loudestPause and quietestPause bound the peak of the tone around a pause, against the channel's RMS level: outside them it is next to a click, or in silence.
	loudestPause, quietestPause = 2 * math.Sqrt2, 0.5
)

// Gap is a stretch of frames that does not hold the tone as it is: a pause, or where samples were lost. To is not included.
type Gap struct{ From, To int }

// pause is a gap without the tone.
type pause struct {
	Gap
	peak float64 // of the tone around
}

// pauses finds the pauses of one channel, block by block.
type pauses struct {
	found    []pause
	run      int     // quiet samples up to now
	peak     float64 // of the run
	previous float64 // peak of the block before
}

// write looks through the next block, which begins at a frame, for pauses of so many frames or more.
func (p *pauses) write(x []float64, from, least int) {
	own := 0.0
	for _, v := range x { // quicker than floats.Norm
		own = max(own, math.Abs(v))
	}
	peak := max(own, p.previous)
	for i, v := range x {
		if math.Abs(v) < pauseBelow*peak {
			p.run, p.peak = p.run+1, max(p.peak, peak)
			continue
		}
		p.end(from+i, least)
	}
	p.previous = own
}

// end ends the run of quiet samples before a frame.
func (p *pauses) end(at, least int) {
	if p.run >= least {
		p.found = append(p.found, pause{Gap{at - p.run, at}, p.peak})
	}
	p.run, p.peak = 0, 0
}

// pauses returns the pauses of all channels that have a tone: quiet against their own level, not against a click's. The levels of the
// blocks show the middle of long ones.
func (t ToneStretch) pauses(channels []pauses) []Gap {
	var out []Gap
	for c, p := range channels {
		if !t.Sounds(c) {
			continue
		}
		for _, found := range p.found {
			if found.peak < loudestPause*t.Level[c] && found.peak > quietestPause*t.Level[c] {
				out = append(out, found.Gap)
			}
		}
		for i, v := range t.Levels[c][:max(0, len(t.Levels[c])-1)] { // the last block may be a short one
			if v < pauseBelow*t.Level[c] {
				out = append(out, Gap{i * t.Block, (i + 1) * t.Block})
			}
		}
	}
	return out
}

// joined sorts gaps and makes one of those that touch.
func joined(all []Gap) []Gap {
	slices.SortFunc(all, func(a, b Gap) int { return cmp.Compare(a.From, b.From) })
	var out []Gap
	for _, g := range all {
		if n := len(out); n > 0 && g.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, g.To)
			continue
		}
		out = append(out, g)
	}
	return out
}

// avoid narrows the stretch to its longest part between pauses, and says so.
func (t *ToneStretch) avoid(found []Gap) {
	found = slices.DeleteFunc(joined(found), func(g Gap) bool { return g.To <= t.From || g.From >= t.To })
	if len(found) == 0 {
		return
	}
	from, to := t.seconds(found[0].From), t.seconds(found[0].To)
	more := ""
	if len(found) > 1 {
		more = fmt.Sprintf(", and %d more", len(found)-1)
	}
	consequence := "what is lost makes timing errors that the clock does not have"
	if t.KeepClearOf(found) {
		consequence = t.Measured()
	}
	t.Warnings = append(t.Warnings, warning.Newf(Interrupted, "the tone is interrupted at %.3f s for %.3g ms%s: %s",
		from, 1e3*(to-from), more, consequence).During(from, to).Of(float64(len(found)), "times"))
}

// KeepClearOf narrows the stretch to its longest part between gaps, 50 ms clear of them. It reports false, and changes nothing, where less
// than a second would remain.
func (t *ToneStretch) KeepClearOf(gaps []Gap) bool {
	first, last, margin := 0, 0, int(clearS*t.Format.Rate.Hz())
	start := t.From
	for _, g := range append(joined(gaps), Gap{t.To + margin, t.To}) {
		if g.To < t.From || g.From > t.To+margin {
			continue
		}
		if end := g.From - margin; end-start > last-first {
			first, last = start, end
		}
		start = max(start, g.To+margin)
	}
	if float64(last-first) < leastClearS*t.Format.Rate.Hz() {
		return false
	}
	t.From, t.To = first, last
	return true
}

// Measured says what of the capture is measured.
func (t ToneStretch) Measured() string {
	return fmt.Sprintf("measured from %.2f to %.2f s, where it is unbroken", t.seconds(t.From), t.seconds(t.To))
}

func (t ToneStretch) seconds(frame int) float64 { return t.Format.Rate.Seconds(frame) }
