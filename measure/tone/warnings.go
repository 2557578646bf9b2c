package tone

import (
	"heardiff/measure"
	"heardiff/stats/warning"
)

// The codes of warnings about tones, noise and sweeps, in addition to those of all measurements.
const (
	BandLimited     warning.Code = "band-limited"     // half the rate cuts off a part of the figure; Value is that frequency
	Bursts          warning.Code = "bursts"           // the residual of the tone leaps up; Value is how often, the stretch the first
	Clicks          warning.Code = "clicks"           // Value is how many tenths of a second of silence are louder than the rest
	Dropouts        warning.Code = "dropouts"         // Value is how many tenths of a second are missing or far quieter
	JitterSignal    warning.Code = "jitter-signal"    // the tone is at a quarter of the rate; Value is its frequency
	LostHarmonics   warning.Code = "lost-harmonics"   // the sweep's own beginning hides the low end of so many harmonics
	Muted           warning.Code = "muted"            // runs of zeros within the signal; Value is how many, the stretch the first
	NotSilence      warning.Code = "not-silence"      // Value is the level, or the frequency of the line that holds nearly all
	OffFrequency    warning.Code = "off-frequency"    // Value is by how many ppm the tone is off a usual one
	OtherLevel      warning.Code = "unexpected-level" // Value is the level of the tone
	PhaseJumps      warning.Code = "phase-jumps"      // Value is at how many places; the instant is the first
	RepeatedBlocks  warning.Code = "repeated-blocks"  // Value is how many; the instant is the first
	ShortSweep      warning.Code = "short-sweep"      // harmonics below Value, a frequency, are rough
	SilentReference warning.Code = "silent-reference" // the reference for noise holds no signal in a channel
	TimeJump        warning.Code = "time-jump"        // Value is by how much the sweep goes on later, below 0 earlier
	WrongRate       warning.Code = "wrong-rate"       // the tone would fit a usual one at another rate; Value is its frequency
)

func identicalChannels() warning.Warning {
	return warning.Newf(measure.IdenticalChannels, "all channels are equal in every sample: one channel recorded twice, or a mono source")
}

// oddLevel warns of the level of a tone, and asks what may be the reason.
func oddLevel(channel int, dbfs float64, why string) warning.Warning {
	return warning.Newf(OtherLevel, "channel %d: the tone is at %.1f dBFS: %s", channel, dbfs, why).In(channel).Of(dbfs, "dBFS")
}
