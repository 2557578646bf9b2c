package fault

import (
	"heardiff/measure/match/align"
	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// The codes of what Find warns of in addition to measure.Clipped, whose Value is how many samples are clipped. Values are of B against A;
// FromS and ToS are seconds of A.
const (
	Mono            warning.Code = "mono"             // one capture alone is
	ChannelMissing  warning.Code = "channel-missing"  // in B; Value is its level in dB
	ChannelInverted warning.Code = "channel-inverted" // in B, against the others
	ChannelGain     warning.Code = "channel-gain"     // differs from the first channel's by Value, in dB
	ChannelDelay    warning.Code = "channel-delay"    // differs from the first channel's by Value, in µs
	DirectVoltage   warning.Code = "direct-voltage"   // differs by Value, of full scale
	Rumble          warning.Code = "rumble"           // differs by Value, in dB
	BothClipped     warning.Code = "both-clipped"     // Value is how many samples of A are
	Compressed      warning.Code = "compressed"       // one falls behind at the peaks by Value, in per cent; negative: A does
	FollowsMusic    warning.Code = "follows-music"    // the residual rises and falls with the music, Value dB relative to it
	BandLimit       warning.Code = "band-limit"       // one capture alone ends at Value, in Hz
	Images          warning.Code = "images"           // what goes on above Value, in Hz, is images of a poor conversion
)

// The codes of what happens for a while only, see Passing.
const (
	Dropout    warning.Code = "dropout"     // Value is how many ms are lost in all
	Outburst   warning.Code = "outburst"    // the residual exceeds what is usual by Value, in dB
	LevelStep  warning.Code = "level-step"  // Value is by how many dB
	LevelDrift warning.Code = "level-drift" // Value is by how many dB from start to end
)

// Evidence is what two captures show when B is aligned with A.
type Evidence struct {
	*residual.Record
	// A and B are what each shows by itself; nil for a stretch cut out of both, in which only what passes is looked
	// for.
	A, B     *Capture
	Line     align.Line
	Overlap  [2]int  // frames of A
	Gain     float64 // B/A, ratio, as record has it
	Channels []residual.ChannelFigures
	Response []residual.ResponseBand
	Shares   residual.Shares
	NullDB   float64
	StartS   float64 // seconds of A at which the frames of a stretch begin to count
	// RumbleA and RumbleB are the mean squares of what A, and B as corrected, hold below the audible band: see RumbleOf.
	RumbleA, RumbleB float64
}

// finder collects warnings.
type finder struct {
	Evidence
	warnings []warning.Warning
}

func (f *finder) warn(w ...warning.Warning) { f.warnings = append(f.warnings, w...) }

// placeInB returns the place in B of each channel of A.
func (r Evidence) placeInB(channel int) int {
	if r.Line.Swapped && channel < 2 {
		return 1 - channel
	}
	return channel
}

// clock turns frames into seconds of A.
type clock struct {
	rate   pcm.Rate
	startS float64
}

func (c clock) seconds(frame int) float64 { return c.startS + c.rate.Seconds(frame) }
