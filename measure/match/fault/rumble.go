package fault

import (
	"math"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

const (
	// belowDB is the level, relative to the music, up to which what is inaudible may differ without a warning. A judgement, no source;
	// TestWhatIsBelowTheBandIsWarnedOfWhereItIsMuch holds it.
	belowDB = -40
	// leastBelow is the least difference that is warned of, of full scale: rounding to 16 bits. A judgement, no source; TestWhatIsBelowTheBandIsWarnedOfWhereItIsMuch
	// holds it.
	leastBelow = 1e-5
	// rumbleRatio is the factor by which the power of rumble must differ at the least: attacks of the music reach down there, and the
	// captures need not hold the same of them.
	rumbleRatio = 4
)

// belowBand warns of direct voltage or rumble that one capture holds more of than the other. A channel that is silent in one has a warning of
// its own.
func (f *finder) belowBand() {
	a, b := f.A.below, f.B.below
	for c := range a.channels {
		of := f.placeInB(c)
		quieter, louder := min(a.level(c), b.level(of)), max(a.level(c), b.level(of))
		if quieter < silentChannel*louder {
			continue
		}
		least := math.Max(leastBelow, math.Sqrt(quieter)*pcm.Ratio(belowDB))
		if x, y := a.direct(c), b.direct(of); math.Abs(math.Abs(x)-math.Abs(y)) > least {
			f.warn(warning.Newf(DirectVoltage, "channel %d holds direct voltage of %+.5f of full scale in A, %+.5f in B: it counts in no figure, but switching between the two may click", c+1, x, y).In(c+1).Of(y-x, ""))
		}
		if x, y := a.rumble(c), b.rumble(of); math.Sqrt(math.Abs(x-y)) > least && max(x, y) > rumbleRatio*min(x, y) {
			f.warn(warning.Newf(Rumble, "channel %d holds rumble below 20 Hz of %.1f dBFS in A, %.1f in B: it counts in no figure", c+1, pcm.DBFS(math.Sqrt(x)), pcm.DBFS(math.Sqrt(y))).In(c+1).Of(pcm.PowerDB(y/x), "dB"))
		}
	}
}
