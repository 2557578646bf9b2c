package tone

import "heardiff/measure"

// The codes of warnings about tones, noise and sweeps, in addition to those of all measurements.
const (
	BandLimited     measure.Code = "band-limited"     // half the rate cuts off a part of the figure; Value is that frequency
	Bursts          measure.Code = "bursts"           // the residual of the tone leaps up; Value is how often, the stretch the first
	Clicks          measure.Code = "clicks"           // Value is how many tenths of a second of silence are louder than the rest
	Dropouts        measure.Code = "dropouts"         // Value is how many tenths of a second are missing or far quieter
	JitterSignal    measure.Code = "jitter-signal"    // the tone is at a quarter of the rate; Value is its frequency
	LostHarmonics   measure.Code = "lost-harmonics"   // the sweep's own beginning hides the low end of so many harmonics
	Muted           measure.Code = "muted"            // runs of zeros within the signal; Value is how many, the stretch the first
	NotSilence      measure.Code = "not-silence"      // Value is the level, or the frequency of the line that holds nearly all
	OffFrequency    measure.Code = "off-frequency"    // Value is by how many ppm the tone is off a usual one
	OtherLevel      measure.Code = "unexpected-level" // Value is the level of the tone
	PhaseJumps      measure.Code = "phase-jumps"      // Value is at how many places; the instant is the first
	RepeatedBlocks  measure.Code = "repeated-blocks"  // Value is how many; the instant is the first
	ShortSweep      measure.Code = "short-sweep"      // harmonics below Value, a frequency, are rough
	SilentReference measure.Code = "silent-reference" // the reference for noise holds no signal in a channel
	TimeJump        measure.Code = "time-jump"        // Value is by how much the sweep goes on later, below 0 earlier
	WrongRate       measure.Code = "wrong-rate"       // the tone would fit a usual one at another rate; Value is its frequency
)

func identicalChannels() measure.Warning {
	return measure.Warningf(measure.IdenticalChannels, "all channels are equal in every sample: one channel recorded twice, or a mono source")
}

// oddLevel warns of the level of a tone, and asks what may be the reason.
func oddLevel(channel int, dbfs float64, why string) measure.Warning {
	return measure.Warningf(OtherLevel, "channel %d: the tone is at %.1f dBFS: %s", channel, dbfs, why).In(channel).Of(dbfs, "dBFS")
}
