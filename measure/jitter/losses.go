package jitter

import (
	"fmt"
	"math"

	"heardiff/stats/warning"
)

// sameLossS is how far apart, in seconds, losses in several channels may be and count as one (judgement, no source;
// TestAnInterruptedToneIsMeasuredWhereItIsUnbroken holds it).
const sameLossS = 0.05

// lostSample is the step of phase, in samples, from which on samples were lost or repeated, for no clock steps as far (judgement, no source;
// TestALostSampleIsNamedAtEveryRate holds it).
const lostSample = 0.5

// loss is where a block was lost or repeated in one channel.
type loss struct {
	event
	channel int
}

// warning says that a block was lost or repeated, and what follows from that. A sample is so many radians.
func (l loss) warning(sample float64, consequence string) warning.Warning {
	return warning.Newf(LostBlock, "the phase of channel %d steps by %.1f samples, or that and full periods of the tone, at %.3f s: a block was lost or repeated there%s",
		l.channel+1, l.step/sample, l.seconds, consequence).In(l.channel+1).At(l.seconds).Of(l.step/sample, "samples")
}

// eventWarnings warns of the events of a channel, counted from 0. A sample is so many radians.
func eventWarnings(channel int, events []event, sample, rateHz float64) (out []warning.Warning) {
	var cut, kept []event
	for _, e := range events {
		samples := e.step / sample
		switch {
		case math.Abs(samples) >= lostSample:
			out = append(out, loss{e, channel}.warning(sample, ", and no figure is to be trusted"))
		case e.step != 0:
			ns := samples / rateHz * 1e9
			out = append(out, warning.Newf(ClockStep, "the phase of channel %d steps by %.3g ns at %.3f s: the random jitter holds it, and is no noise",
				channel+1, ns, e.seconds).In(channel+1).At(e.seconds).Of(ns, "ns"))
		case e.bridged:
			cut = append(cut, e)
		default:
			kept = append(kept, e)
		}
	}
	if len(cut) > 0 {
		out = append(out, ticked(Ticks, channel+1, cut, "left out of the random jitter"))
	}
	if len(kept) > 0 {
		out = append(out, ticked(TicksKept, channel+1, kept, "the random jitter is not to be trusted"))
	}
	return out
}

// ticked warns of ticks of a channel, and says what is done with them.
func ticked(code warning.Code, channel int, events []event, consequence string) warning.Warning {
	which := fmt.Sprintf("a tick at %.3f s", events[0].seconds)
	if len(events) > 1 {
		which = fmt.Sprintf("%d ticks, the first at %.3f s", len(events), events[0].seconds)
	}
	return warning.Newf(code, "channel %d has %s: %s", channel, which, consequence).In(channel).At(events[0].seconds).Of(float64(len(events)), "ticks")
}
