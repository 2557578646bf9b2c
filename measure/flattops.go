package measure

import "math"

// flatTops counts samples in runs of three and more at the outermost value of their polarity, and that the signal enters or
// leaves by a step: it was clipped before it was turned down. A smooth peak also rests on one word for a while, but comes and goes by
// a word or two.
type flatTops struct {
	step float64 // the least that is no smooth peak's
	// of both polarities
	at    [2]float64
	count [2]int

	value, entered float64 // of the run at hand
	length         int
}

// What a flat top is. Judgement, no source; TestFlatTopsBelowFullScaleAreNamed holds it.
const (
	flatRun   = 3  // samples of one value
	flatWords = 16 // words that the signal enters or leaves by at the least
	flatSteps = 4  // times as many words that the peak is high at the least: noise has fewer
)

func (f *flatTops) write(v float64) {
	if v == f.value {
		f.length++
		return
	}
	f.leave(math.Abs(v - f.value))
	f.entered = math.Abs(v - f.value)
	f.value, f.length = v, 1
}

// leave ends the run at hand by a step.
func (f *flatTops) leave(step float64) {
	if f.length == 0 || f.value == 0 {
		return
	}
	side, height := 0, math.Abs(f.value)
	if f.value < 0 {
		side = 1
	}
	if height > f.at[side] {
		f.at[side], f.count[side] = height, 0
	}
	if height == f.at[side] && f.length >= flatRun && max(step, f.entered) > f.step {
		f.count[side] += f.length
	}
}

// samples returns how many there are, 0 where the peaks are no more than noise, which has few words.
func (f *flatTops) samples() int {
	n := 0
	for side, at := range f.at {
		if at > flatSteps*f.step {
			n += f.count[side]
		}
	}
	return n
}
