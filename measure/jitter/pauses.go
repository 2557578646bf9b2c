package jitter

import (
	"cmp"
	"fmt"
	"heardiff/measure"
	"math"
	"slices"
)

const (
	// pauseS is from what length on, in seconds, a stretch without the tone is a pause: a tone of 100 Hz or more crosses zero faster.
	pauseS = 1e-3
	// pauseBelow is how small samples of a pause are against the tone's peak.
	pauseBelow = 0.25
	// clearS is kept clear of a pause or a lost block, in seconds.
	clearS = 0.05
	// leastWholeS is the shortest stretch, in seconds, that is measured in place of a whole that is interrupted.
	leastWholeS = 1.0
)

// pause is a stretch of frames without the tone, the last not included.
type pause struct {
	from, to int
	peak     float64 // of the tone around
}

// pauses finds the pauses of one channel, block by block.
type pauses struct {
	found    []pause
	run      int     // quiet samples up to now
	peak     float64 // of the run
	previous float64 // peak of the block before
}

// listen looks through the next block, which begins at a frame, for pauses of so many frames or more.
func (p *pauses) listen(x []float64, from, least int) {
	own := 0.0
	for _, v := range x {
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
		p.found = append(p.found, pause{at - p.run, at, p.peak})
	}
	p.run, p.peak = 0, 0
}

// pausesOf returns the pauses of all channels that have a tone, in order: quiet against their own level, not against a click's. The RMS of
// whole blocks shows the middle of those that last.
func pausesOf(channels []pauses, rms [][]float64, block int, level []float64) []pause {
	loudest := slices.Max(level)
	var out []pause
	for c, p := range channels {
		if level[c] < noTone*loudest {
			continue
		}
		for _, found := range p.found {
			if found.peak < 2*math.Sqrt2*level[c] && found.peak > level[c]/2 {
				out = append(out, found)
			}
		}
		for i, v := range rms[c][:max(0, len(rms[c])-1)] { // the last block may be a short one
			if v < pauseBelow*level[c] {
				out = append(out, pause{from: i * block, to: (i + 1) * block})
			}
		}
	}
	return joined(out)
}

// joined sorts pauses and makes one of those that touch.
func joined(all []pause) []pause {
	slices.SortFunc(all, func(a, b pause) int { return cmp.Compare(a.from, b.from) })
	var out []pause
	for _, p := range all {
		if n := len(out); n > 0 && p.from <= out[n-1].to {
			out[n-1].to = max(out[n-1].to, p.to)
			continue
		}
		out = append(out, p)
	}
	return out
}

// longestBetween returns the longest stretch between pauses, kept clear of them.
func longestBetween(from, to int, pauses []pause, clear int) (first, last int) {
	start := from
	for _, p := range append(slices.Clone(pauses), pause{from: to + clear, to: to}) {
		if p.to < from || p.from > to+clear {
			continue
		}
		if end := p.from - clear; end-start > last-first {
			first, last = start, end
		}
		start = max(start, p.to+clear)
	}
	return first, last
}

// avoid narrows the stretch to its longest part between pauses, and says so.
func (s *stretch) avoid(found []pause, rateHz float64) {
	found = slices.DeleteFunc(found, func(p pause) bool { return p.to <= s.from || p.from >= s.to })
	if len(found) == 0 {
		return
	}
	from, to := float64(found[0].from)/rateHz, float64(found[0].to)/rateHz
	more := ""
	if len(found) > 1 {
		more = fmt.Sprintf(", and %d more", len(found)-1)
	}
	consequence := "what is lost makes jitter that the clock does not have"
	if s.narrow(found, rateHz) {
		consequence = s.measured(rateHz)
	}
	s.warnings = append(s.warnings, measure.Warningf(measure.Interrupted, "the tone is interrupted at %.3f s for %.3g ms%s: %s",
		from, 1e3*(to-from), more, consequence).During(from, to).Of(float64(len(found)), "times"))
}

// narrow confines the stretch to its longest part between pauses, unless too little would be left.
func (s *stretch) narrow(found []pause, rateHz float64) bool {
	first, last := longestBetween(s.from, s.to, found, int(clearS*rateHz))
	if float64(last-first) < leastWholeS*rateHz {
		return false
	}
	s.from, s.to = first, last
	return true
}

// measured says what of the capture is measured.
func (s *stretch) measured(rateHz float64) string {
	return fmt.Sprintf("measured from %.2f to %.2f s, where it is whole", float64(s.from)/rateHz, float64(s.to)/rateHz)
}
