package fault

import (
	"math"

	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// Differences between channels that are warned of: those for which Prepare refuses a pair.
const (
	channelDB = 0.1
	channelUS = 10.0
	// A difference between channels is significant from so many standard errors on: chance alone makes one in 370, and one in 16000.
	clearGain, clearDelay = 3, 4
	// silentChannel is the power of a channel, against the loudest, up to which it is silent in effect. A judgement, no source;
	// TestOneChannelUnlikeTheOther holds it.
	silentChannel = 1e-3
)

// channelsDiffer says how channels differ from the first that can be measured.
func (f *finder) channelsDiffer() {
	first := -1
	for i, c := range f.Channels {
		name := f.placeInB(i) + 1
		if c.Correlation < residual.LeastCommon {
			f.channelMissing(c, name)
			continue
		}
		if c.Inverted {
			f.warn(warning.Newf(ChannelInverted, "channel %d of B is inverted against the others", name).In(name))
		}
		if first < 0 {
			first = i
			continue
		}
		o := f.Channels[first]
		if d := c.GainDB - o.GainDB; math.Abs(d) > channelDB && math.Abs(d) > clearGain*math.Hypot(c.GainSE, o.GainSE) {
			f.warn(warning.Newf(ChannelGain, "channel %d differs by %+.2f dB from channel %d: the balance is not that of A", c.Channel, d, o.Channel).In(c.Channel).Of(d, "dB"))
		}
		us := 1e6 / f.Rate.Hz()
		if d := us * (c.Delay - o.Delay); math.Abs(d) > channelUS && math.Abs(d) > clearDelay*us*math.Hypot(c.DelaySE, o.DelaySE) {
			f.warn(warning.Newf(ChannelDelay, "channel %d is late by %+.1f µs against channel %d, beyond what it is in A", c.Channel, d, o.Channel).In(c.Channel).Of(d, "µs"))
		}
	}
}

// channelMissing says that a channel is not to be found in B, if there is anything to be found.
func (f *finder) channelMissing(c residual.ChannelFigures, name int) {
	loudest := 0.0
	for _, o := range f.Channels {
		loudest = max(loudest, o.PowerA, o.PowerB)
	}
	if max(c.PowerA, c.PowerB) < silentChannel*loudest {
		return
	}
	level := pcm.PowerDB(c.PowerB / c.PowerA)
	f.warn(warning.Newf(ChannelMissing, "channel %d of B is not that of A (correlation %.2f, level %+.1f dB): silent, or another's", name, c.Correlation, level).In(name).Of(level, "dB"))
}
