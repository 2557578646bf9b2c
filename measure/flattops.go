package measure

import "math"

// flatTops counts samples in runs of three or more at the outermost values of their polarity, where the signal enters or leaves the run by
// a step: it was clipped before it was turned down. Dither spreads a flat top over a few words. A smooth peak also stays within a few words
// for a while, but the signal enters and leaves it in small steps.
type flatTops struct {
	word float64
	// of both polarities
	at    [2]float64
	count [2]int

	last, entered float64 // the last sample, and the step into the run at hand
	side, length  int     // of the run
}

// What a flat top is. Judgement, no source; TestFlatTopsBelowFullScaleAreNamed holds it.
const (
	flatRun   = 3  // samples
	flatSlack = 4  // largest distance below the outermost, in words: triangular dither of one word spreads by 3
	flatWords = 24 // least step into or out of the run, in words: a parabola whose top spans three samples leaves it by 3·flatSlack, and dither
	flatSteps = 4  // least height of a peak, as a multiple of flatWords: noise is lower
)

func (f *flatTops) write(v float64) {
	side, height := 0, math.Abs(v)
	if v < 0 {
		side = 1
	}
	if height > f.at[side]+flatSlack*f.word { // what came before was no top
		f.leave(v)
		f.at[side], f.count[side] = height, 0
	}
	switch top := height > 0 && height >= f.at[side]-flatSlack*f.word; {
	case !top:
		f.leave(v)
	case f.length > 0 && f.side == side:
		f.length++
	default:
		f.leave(v)
		f.entered, f.side, f.length = math.Abs(v-f.last), side, 1
	}
	f.at[side] = max(f.at[side], height)
	f.last = v
}

// leave ends the run at hand by a step to v.
func (f *flatTops) leave(v float64) {
	if f.length >= flatRun && max(math.Abs(v-f.last), f.entered) > flatWords*f.word {
		f.count[f.side] += f.length
	}
	f.length = 0
}

// samples returns how many samples are in flat tops, 0 where the peaks are no more than noise, which has few words.
func (f *flatTops) samples() int {
	n := 0
	for side, at := range f.at {
		if at > flatSteps*flatWords*f.word {
			n += f.count[side]
		}
	}
	return n
}
