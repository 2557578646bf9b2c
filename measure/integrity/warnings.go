package integrity

import "heardiff/measure"

// The codes of warnings about received words. Those named as a cause say that the words were changed that way in addition to the cause of the
// result, or in which channel; where that cause is Unknown, in some stretches alone.
const (
	AlsoFaults     measure.Code = "faults"          // Value is how many stretches were lost, muted, repeated or spoilt as well
	FaultsUnknown  measure.Code = "faults-unknown"  // whether there are faults as well is not known
	Resampled      measure.Code = "resampling"      //
	Exchanged      measure.Code = "channel-swap"    //
	Copied         measure.Code = "channel-copied"  // the channel holds what was sent in another, which arrived in its place as well
	Dead           measure.Code = "dead-channel"    // nothing but zeros arrived in the channel
	Inverted       measure.Code = "polarity"        //
	Filtered       measure.Code = "filter"          // a filter that is no resampler's
	UnknownChange  measure.Code = "unknown-change"  //
	GainChanged    measure.Code = "gain"            // Value is the gain, NaN where channels differ
	Dithered       measure.Code = "dither"          // Value is the word length in bits
	Shortened      measure.Code = "truncation"      // Value is the word length in bits
	NoiseAdded     measure.Code = "noise-added"     // Value is its level
	LateChannels   measure.Code = "late-channels"   // channels are late against each other by whole frames
	ConstantsAdded measure.Code = "constants-added" // a constant was added to all words; Value is the largest
)
