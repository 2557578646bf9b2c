package residual

import (
	"math"
	"math/cmplx"

	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/playback/pcm"
)

// ChannelFigures is one channel of corrected B against A's: what remains after the common offset, gain and polarity. Gain and delay
// are NaN where the two have too little in common.
type ChannelFigures struct {
	Channel        int
	GainDB, GainSE float64
	Delay, DelaySE float64 // frames
	Inverted       bool
	Correlation    float64 // at its own delay, without its sign
	PowerA, PowerB float64
}

// LeastCommon is the correlation from which on two channels are compared. A judgement, no source;
// TestBandsAndChannelsNeedSomethingInCommon holds it.
const LeastCommon = 0.3

// ChannelFigures measures every channel by itself, at the common gain k.
func (r *Record) ChannelFigures(k float64) []ChannelFigures {
	out := make([]ChannelFigures, len(r.sums))
	for c := range out {
		out[c] = r.channelOf(k, c)
	}
	return out
}

func (r *Record) channelOf(k float64, c int) ChannelFigures {
	s := r.Sums(audible.LowHz, audible.HighHz, k, c)
	ch := ChannelFigures{Channel: c + 1, GainDB: math.NaN(), Delay: math.NaN(), PowerA: s.AA, PowerB: s.BB}
	if !(s.AA > 0 && s.BB > 0) {
		return ch
	}
	p := r.crossPhase(c)
	delay := p.CoarseDelay()
	for range 4 {
		delay += p.ResidualDelay(delay)
	}
	joint := p.SumAt(delay)
	ch.Inverted = real(joint) < 0
	ch.Correlation = cmplx.Abs(joint) / math.Sqrt(s.AA*s.BB) / k
	if ch.Correlation < LeastCommon {
		return ch
	}
	ch.Delay, ch.DelaySE = delay, p.StandardError(float64(r.blocks))
	ch.GainDB = pcm.DB(math.Abs(real(joint)) / s.AA / k)
	// As the common gain's, from the residual at the channel's own delay.
	q := max(0, 1/(ch.Correlation*ch.Correlation)-1)
	ch.GainSE = 20 / math.Ln10 * math.Sqrt(q/(2*float64(r.blocks*s.bins)/audible.PerIndependentBin)+q*q/3)
	return ch
}

func (r *Record) crossPhase(c int) align.CrossPhase {
	lo, hi := r.Bins(audible.LowHz, audible.HighHz)
	p := align.CrossPhase{N: r.N, Lo: lo}
	for i := lo; i < hi; i++ {
		aa, rr, ar := r.sums[c][i].aa, r.sums[c][i].rr, r.sums[c][i].ar
		ab := complex(aa, 0) - ar
		// |A|²·|B|² − |joint|², written so that a deep null stays clear of rounding.
		rest := aa*rr - squared(ar)
		p.Joint = append(p.Joint, ab)
		p.Weight = append(p.Weight, squared(ab)/(max(0, rest)+1e-15*aa*aa+1e-300))
	}
	return p
}
