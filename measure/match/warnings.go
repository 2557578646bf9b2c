package match

import (
	"fmt"
	"math"
	"slices"

	"heardiff/playback/pcm"
)

func warnings(f pcm.Format, found aligned, left *remainder, r Result) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if found.confidence < 0.1 {
		say("another alignment explains %.0f %% as much as this one: the music repeats, or too little of it is common", 100*(1-found.confidence))
	}
	if r.OverlapS < 5 {
		say("the captures overlap by only %.1f s", r.OverlapS)
	}
	if found.jump != "" {
		out = append(out, found.jump)
	}
	if r.ChannelsSwapped {
		say("channels 1 and 2 are exchanged in B")
	}
	for c := range left.aa {
		if s := left.sums(lowHz, bandEdge(f.Rate), 1, c); real(s.ab) < -0.3*math.Sqrt(s.aa*s.bb) {
			say("channel %d of B is inverted against the others", c+1)
		}
	}
	if math.Abs(r.ResponseMaxDB) > 0.1 {
		say("the response differs by %+.2f dB in a third octave: more than 0.1 dB can be heard as a difference by itself", r.ResponseMaxDB)
	}
	if r.Wander.Significant {
		say("the clocks stray from a straight line by %.3f samples RMS, %.3f at most", r.Wander.RMSSamples, r.Wander.PeakSamples)
	}
	clipped("A", found.a, "B", found.b, say)
	clipped("B", found.b, "A", found.a, say)
	left.dropouts(say)
	left.curve.warn(say)
	bandLimit(found, left, say)
	return out
}

func clipped(name string, p profile, other string, q profile, say func(string, ...any)) {
	if p.clipped > 10 && p.clipped > 10*q.clipped {
		say("%s is clipped: %d samples stand in runs of one value at its peak of %.2f dBFS (%d in %s)", name, p.clipped, pcm.DB(p.peak), q.clipped, other)
	}
}

// dropouts looks for stretches where one capture is silent and the other is not.
func (r *remainder) dropouts(say func(string, ...any)) {
	var sum float64
	for _, h := range r.heights {
		sum += h.a / float64(len(r.heights))
	}
	lost := map[string]int{}
	first := map[string]int{}
	note := func(name string, at int) {
		if lost[name] == 0 || at < first[name] {
			first[name] = at
		}
		lost[name]++
	}
	for _, h := range r.heights {
		switch {
		case h.a > 1e-2*sum && h.b < 1e-3*h.a:
			note("B", h.at)
		case h.b > 1e-2*sum && h.a < 1e-3*h.b:
			note("A", h.at)
		}
	}
	for _, name := range []string{"A", "B"} {
		if lost[name] > 0 {
			say("%s is silent for %d ms where the other plays, first %.3f s into A: a dropout", name, 5*lost[name], r.rate.Seconds(first[name]))
		}
	}
}

// bandLimit tells where one capture ends well below the other: the trace of a sample-rate conversion. That is where,
// from the top of what the other holds down, all is 12 dB lower than in it, and 1.5 kHz below nearly as strong.
func bandLimit(found aligned, left *remainder, say func(string, ...any)) {
	a, b := found.a, found.b
	for _, way := range []struct {
		short, long string
		p, q        profile
	}{{"B", "A", b, a}, {"A", "B", a, b}} {
		ratio := quotient(way.p, way.q)
		top := len(ratio)
		for floor := leastDensity * way.q.between(250, 4000); top > 0 && way.q.between(float64(top-1)*bandHz, float64(top)*bandHz) < floor; {
			top--
		}
		edge := top
		for edge > 0 && ratio[edge-1] < 0.06 {
			edge--
		}
		hz := float64(edge) * bandHz
		if top-edge < 2 || hz < 4000 || slices.Max(ratio[max(0, edge-3):edge]) < 0.5 {
			continue
		}
		if !left.onlyNoise(way.q, hz) {
			say("%s ends at %.1f kHz where %s goes on: a sample-rate conversion or band limit in %s", way.short, hz/1000, way.long, way.short)
		}
	}
}

// leastDensity is the power below which a band counts as empty, against the same width of the middle of the music: what
// stands there is rounding.
const leastDensity = 1e-8

const bandHz = 500.0

// quotient returns p's power over q's in bands of 500 Hz up to 0.98 of Nyquist, relative to that between 250 Hz and 4 kHz.
func quotient(p, q profile) []float64 {
	common := p.between(250, 4000) / q.between(250, 4000)
	var out []float64
	for low := 0.0; low+bandHz < 0.98*p.binHz*float64(len(p.power)-1); low += bandHz {
		out = append(out, p.between(low, low+bandHz)/q.between(low, low+bandHz)/common)
	}
	return out
}

// between returns the mean power between two frequencies.
func (p profile) between(low, high float64) float64 {
	sum, lo, hi := 1e-300, int(low/p.binHz), int(high/p.binHz)
	for _, v := range p.power[lo:hi] {
		sum += v
	}
	return sum / float64(hi-lo)
}

// onlyNoise reports whether what goes on above hz is no more than what is noise below it: then the capture is noisier,
// and no other one band-limited.
func (r *remainder) onlyNoise(long profile, hz float64) bool {
	top := math.Min(hz-bandHz, bandEdge(r.rate))
	s := r.sums(top-3*bandHz, top-bandHz, r.final(), -1)
	below, above := long.between(top-3*bandHz, top-bandHz), long.between(hz+bandHz, hz+2*bandHz)
	return s.rr/s.aa*below > above/4
}
