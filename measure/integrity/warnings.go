package integrity

import "heardiff/stats/warning"

// The codes of warnings about received words. Those named as a cause say that the words were changed that way in addition to the cause of the
// result, or in which channel; where that cause is Unknown, in some stretches alone.
const (
	AlsoFaults     warning.Code = "faults"          // Value is how many stretches were lost, muted, repeated or spoilt as well
	FaultsUnknown  warning.Code = "faults-unknown"  // whether there are faults as well is not known
	Resampled      warning.Code = "resampling"      //
	Exchanged      warning.Code = "channel-swap"    //
	Copied         warning.Code = "channel-copied"  // the channel holds what was sent in another, which arrived in its place as well
	Dead           warning.Code = "dead-channel"    // nothing but zeros arrived in the channel
	Inverted       warning.Code = "polarity"        //
	Filtered       warning.Code = "filter"          // a filter that is no resampler's
	UnknownChange  warning.Code = "unknown-change"  //
	GainChanged    warning.Code = "gain"            // Value is the gain, NaN where channels differ
	Dithered       warning.Code = "dither"          // Value is the word length in bits
	Shortened      warning.Code = "truncation"      // Value is the word length in bits
	NoiseAdded     warning.Code = "noise-added"     // Value is its level
	LateChannels   warning.Code = "late-channels"   // channels are late against each other by whole frames
	ConstantsAdded warning.Code = "constants-added" // a constant was added to all words; Value is the largest
)
