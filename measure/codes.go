package measure

import "heardiff/stats/warning"

// The codes of Inspect, and those that several measurements share.
const (
	Clipped           warning.Code = "clipped"            // samples at full scale; Value is how many
	DCOffset          warning.Code = "dc"                 // Value is the mean as a fraction of full scale
	DigitalSilence    warning.Code = "digital-silence"    // zeros alone
	FlatTops          warning.Code = "flat-tops"          // runs at the outermost values below full scale; Value is how many samples
	HeldValue         warning.Code = "held-value"         // one value, other than zero and full scale, for Value ms
	IdenticalChannels warning.Code = "identical-channels" // a channel equals another in every sample
	Interrupted       warning.Code = "interrupted"        // the signal stops and goes on between FromS and ToS
	LongZeros         warning.Code = "long-zeros"         // digital zero for Value ms
	LevelMoves        warning.Code = "level-moves"        // Value is by how many dB
	NoSignal          warning.Code = "no-signal"          // the channel does not hold the signal that the measurement needs
	QuietRecording    warning.Code = "quiet-recording"    // Value is the RMS level
	TruePeakOver      warning.Code = "true-peak-over"     // Value is the true peak, above full scale
	UnusedBits        warning.Code = "unused-bits"        // Value is how many bits carry data, fewer than the format has
	FloorLevel        warning.Code = "floor-level"        // the floor's tone is Value dB above the capture's
	FarBelow          warning.Code = "far-below"          // a dose is Value dB below anything that could show
	NoFloor           warning.Code = "no-floor"           // the recording set-up sets the channel no limit
)
