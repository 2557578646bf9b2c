package jitter

import "heardiff/measure"

// The codes of warnings about jitter, beside those that all measurements share.
const (
	AmplitudeNoise measure.Code = "amplitude-noise"  // amplitude exceeds phase, at the lowest from Value, a frequency, on
	ClockStep      measure.Code = "clock-step"       // the phase steps by Value, less than half a sample, at the instant
	FewPeriods     measure.Code = "few-periods"      // Value, in seconds, holds few periods of the band's low end
	LockedClocks   measure.Code = "locked-clocks"    // of jitter that folds back Value per cent show in the phase
	LostBlock      measure.Code = "lost-block"       // a block was lost or repeated: the phase steps by Value, in samples
	ManyLines      measure.Code = "many-lines"       // more lines than are listed
	PhaseJump      measure.Code = "phase-jump"       // the largest step of phase between two baseband samples
	PlainTone      measure.Code = "plain-tone"       // the carrier is a quarter of no expected rate; Value is its frequency
	ShorterWords   measure.Code = "shorter-words"    // Value is how many lines are those of a signal of 16 bits
	Ticks          measure.Code = "ticks"            // Value is how many were left out of the random jitter; the instant is the first
	TicksKept      measure.Code = "ticks-in-figures" // Value is how many the random jitter holds; the instant is the first
	WanderingLines measure.Code = "wandering-lines"  // Value is how many lines wander in frequency
)
