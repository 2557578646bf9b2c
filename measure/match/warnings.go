package match

import (
	"fmt"
	"math"

	"heardiff/playback/pcm"
)

func warnings(f pcm.Format, found aligned, left *remainder, own []channel, r Result) (out []string, brief passing) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if r.Confidence < 0.1 {
		say("another alignment nulls as deep, to %.1f dB: the music repeats, or too little of it is common", pcm.PowerDB(1/(1-r.Confidence)))
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
	mono := oneIsMono(found.a.width, found.b.width)
	if mono != "" {
		out = append(out, mono)
	} else {
		unequal(own, f.Rate, r.ChannelsSwapped, say)
	}
	if math.Abs(r.ResponseMaxDB) > 0.1 {
		say("the response differs by %+.2f dB in a third octave: more than 0.1 dB can be heard as a difference by itself", r.ResponseMaxDB)
	}
	if r.Wander.Significant {
		say("the clocks stray from a straight line by %.3f samples RMS, %.3f at most, slower than %.2g Hz (what is faster is not in these figures)",
			r.Wander.RMSSamples, r.Wander.PeakSamples, r.Wander.BelowHz)
	}
	left.sways(r, say)
	unheard(found.a.below, found.b.below, r.ChannelsSwapped, say)
	unnamed := len(out)
	clipped("A", found.a, "B", found.b, say)
	clipped("B", found.b, "A", found.a, say)
	bothClipped(found.a, found.b, say)
	events := left.events()
	brief = left.passing(beside(events, found))
	out = append(out, brief.said...)
	left.compressed(own, events, say)
	if len(out) == unnamed && mono == "" {
		unlike(r, say)
	}
	bandLimit(found, left, events, r.ResponseBands, say)
	return out, brief
}

// unlikeDB is what may be left that follows the music, below A: two in a thousand of it. Chains fit to be compared distort half
// of that or less (common practice, no source); lossy codes leave 15 to 55 dB.
const unlikeDB = -55

// unlike warns where much is left that only the music explains, and no fault with a name does. From a share of a quarter on the chance scatter of noise
// cannot pass for it.
func unlike(r Result, say func(string, ...any)) {
	share := r.Residual.following()
	db := r.NullDB + pcm.PowerDB(share)
	if share > 0.25 && db > unlikeDB {
		say("what is left that rises and falls with the music stands %.1f dB below it: lossy coding or processing of one, strong distortion, or fast jitter beyond that of any fit chain", -db)
	}
}

func clipped(name string, p profile, other string, q profile, say func(string, ...any)) {
	if p.clippedMore(q) {
		say("%s is clipped: %d samples stand in runs of one value at its peak of %.2f dBFS (%d in %s)", name, p.clipped, pcm.DB(p.peak), q.clipped, other)
	}
}

// bothClipped says that both captures are, about alike: what the music or the recorder cut off is then missing in either.
func bothClipped(a, b profile, say func(string, ...any)) {
	if min(a.clipped, b.clipped) > 10 && !a.clippedMore(b) && !b.clippedMore(a) {
		say("A and B are both clipped: %d and %d samples stand in runs of one value at their peaks of %.2f and %.2f dBFS; unless the music itself is, record both again at a lower level",
			a.clipped, b.clipped, pcm.DB(a.peak), pcm.DB(b.peak))
	}
}

// clippedMore reports whether p is clipped and q, of the same music, is not, or hardly.
func (p profile) clippedMore(q profile) bool { return p.clipped > 10 && p.clipped > 10*q.clipped }

// passing returns what happens for a while only, of these events and of the level, in words.
func (r *remainder) passing(events []event) passing {
	p := passing{teller: r.teller(), events: events}
	p.tell(events, func(format string, args ...any) { p.said = append(p.said, fmt.Sprintf(format, args...)) })
	r.changes(func(format string, args ...any) { p.changes = append(p.changes, fmt.Sprintf(format, args...)) })
	p.said = append(p.said, p.changes...)
	return p
}
