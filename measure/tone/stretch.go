package tone

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// ErrNoSignal is wrapped by errors about a recording that does not hold the signal the measurement needs.
var ErrNoSignal = errors.New("not the signal for this measurement")

// What the active part of a recording is known by, in tenths of a second. Judgement, no source; TestWhatSurroundsATone holds it.
const (
	shortTenths  = 10   // a recording of fewer keeps its ends
	heldTenths   = 5    // for which a level is kept up: a click is shorter
	extentRatio  = 0.25 // of the level: extentTenths in a row have as much where the signal begins and ends: 12 dB
	extentTenths = 3
	holeRatio    = 0.1  // of the level, below which a tenth is a hole: 20 dB
	noiseRatio   = 1e-3 // of the loudest channel's level, below which a channel is noise
)

// active is the part of a recording in which the signal is, and how steady it is there.
type active struct {
	survey   measure.Survey // in tenths of a second
	from, to int            // frames
	// swingDB is the largest less the smallest level within it, in dB, of tenths of a second.
	swingDB []float64 // for each channel
	// holes counts tenths of a second in which the level fell by more than 20 dB, over all channels.
	holes int
	// loudest is the largest RMS value of a tenth of a second in each channel.
	loudest []float64
	repeats *repeats
	zeros   []zeros
	// restlessDB is how far the levels of channels move from one tenth to the next, median: a measure of noise where
	// nothing else moves them.
	restlessDB []float64
}

// findActive reads all of r and returns where its signal is present and steady: silence, clicks and fades before and
// after are left out, and a tenth of a second of guard within them, in which a filter rings.
func findActive(r pcm.Reader) (active, error) {
	f := r.Format()
	size := max(1, int(f.Rate)/10)
	smooth := make([]envelope, f.Channels)
	a := active{repeats: newRepeats(f.Rate), zeros: make([]zeros, f.Channels)}
	var err error
	a.survey, err = measure.SurveyOf(r, size, func(block [][]float64, _ int) {
		for c, x := range block {
			smooth[c].write(x)
			a.zeros[c].write(x)
		}
		a.repeats.write(block[0])
	})
	if err != nil {
		return active{}, err
	}
	a.locate(a.survey.Levels, size, r.Frames())
	for c := range smooth {
		a.zeros[c].end()
		a.steadiness(smooth[c].levels, a.from/size, (a.to-1)/size)
	}
	return a, nil
}

// locate finds the active part from the levels of tenths of a second.
func (a *active) locate(levels [][]float64, size, frames int) {
	steady := make([]float64, len(levels))
	for c, l := range levels {
		a.loudest = append(a.loudest, slices.Max(l))
		steady[c] = sustained(l)
	}
	top := slices.Max(steady)
	if top == 0 {
		return
	}
	first, last := 0, len(levels[0])-1
	for c, l := range levels {
		if steady[c] < noiseRatio*top { // a channel of noise says nothing about where the others' signal is
			continue
		}
		from, to, _ := measure.LongRuns(l, extentRatio*steady[c], min(extentTenths, len(l))) // where a level is sustained there is one
		from, to = unfaded(l, from, to)
		first, last = max(first, from), min(last, to)
	}
	if last < first {
		return
	}
	a.from, a.to = guarded(first, last, len(levels[0]), size, frames)
	for _, l := range levels {
		a.countHoles(l, a.from/size, (a.to-1)/size)
	}
}

// guarded returns the frames from tenth first to tenth last, less a tenth at either end. A recording shorter than a
// second keeps the ends that are its own.
func guarded(first, last, tenths, size, frames int) (from, to int) {
	long := last-first >= shortTenths
	from, to = first*size, min((last+1)*size, frames)
	if first > 0 || long {
		from += size
	}
	if last < tenths-1 || long {
		to = last * size
	}
	return from, max(from, to)
}

// sustained returns the highest level that is kept up for half a second: a click is louder, and shorter.
func sustained(levels []float64) float64 {
	n, best := min(heldTenths, len(levels)), 0.0
	for i := 0; i+n <= len(levels); i++ {
		best = max(best, slices.Min(levels[i:i+n]))
	}
	return best
}

// unfaded moves the ends inwards over tenths that are quieter than the rest by more than the rest itself moves, as in
// a fade, by a quarter of the length at the most. An end that is louder is a compressor's attack, and stays.
func unfaded(levels []float64, first, last int) (int, int) {
	part := levels[first : last+1]
	centre := spectrum.Median(part)
	off := make([]float64, len(part))
	for i, v := range part {
		off[i] = math.Abs(v - centre)
	}
	// 2e-4 of amplitude, 0.002 dB, is what a fraction of a period of 997 Hz at the ends of a tenth of a second makes.
	least := centre*(1-2e-4) - 6*spectrum.Median(off)
	most, begin, end := len(part)/4, first, last
	for range most {
		if levels[first] < least {
			first++
		}
		if levels[last] < least && last > first {
			last--
		}
	}
	// What settles exponentially goes on where tenths no longer show it.
	const settling = 3
	if first > begin {
		first = min(first+settling, begin+most)
	}
	if last < end {
		last = max(last-settling, end-most)
	}
	return first, last
}

// countHoles counts the tenths that are 20 dB below the loudest.
func (a *active) countHoles(levels []float64, first, last int) {
	last = min(last, max(first, len(levels)-2)) // the last tenth may be a short one
	top := slices.Max(levels[first : last+1])
	for _, v := range levels[first : last+1] {
		if v < holeRatio*top {
			a.holes++
		}
	}
}

// steadiness notes how far the levels of an envelope move in all, and from one to the next, holes left out.
func (a *active) steadiness(levels []float64, first, last int) {
	last = min(last, len(levels)-2) // the last tenth may be a short one
	swing, restless := math.NaN(), math.NaN()
	if a.to > a.from && last >= first+2 {
		inside := levels[first+1 : last+1] // each reaches into the tenth before
		top, low := slices.Max(inside), math.Inf(1)
		var steps []float64
		for i, v := range inside {
			if v < holeRatio*top {
				continue
			}
			low = min(low, v)
			if i > 0 && inside[i-1] >= holeRatio*top {
				steps = append(steps, math.Abs(pcm.DB(v/inside[i-1])))
			}
		}
		if top > 0 {
			swing = pcm.DB(top / low)
		}
		if len(steps) > 0 {
			restless = spectrum.Median(steps)
		}
	}
	a.swingDB, a.restlessDB = append(a.swingDB, swing), append(a.restlessDB, restless)
}

// envelope follows the level under raised cosines that are two blocks long and one apart: blocks alone would hold a part of
// a period of a low tone at their ends, and their levels would move with it.
type envelope struct {
	rising float64 // of the block before
	levels []float64
}

func (e *envelope) write(x []float64) {
	rising, falling := 0.0, 0.0
	turn := newOscillator(math.Pi/float64(len(x)), 0.5)
	for _, v := range x {
		w := (1 - real(turn.next())) / 2
		rising += v * v * w
		falling += v * v * (1 - w)
	}
	e.levels = append(e.levels, math.Sqrt((e.rising+falling)/float64(len(x))))
	e.rising = rising
}

// warnings returns the warnings about a recording of a steady signal.
func (a active) warnings(rate pcm.Rate, steadyDB float64) (list []warning.Warning) {
	for c, n := range a.survey.Clipped {
		if n > 0 {
			list = append(list, warning.Newf(measure.Clipped, "channel %d: %d samples at full scale: clipped, the distortion may be the recorder's", c+1, n).In(c+1).Of(float64(n), "samples"))
		}
	}
	for c, db := range a.swingDB {
		if db > steadyDB {
			list = append(list, warning.Newf(measure.LevelMoves, "channel %d: the level moves by %.2f dB: automatic gain, a limiter, or somebody at the knob", c+1, db).In(c+1).Of(db, "dB"))
		}
	}
	for c := range a.zeros {
		list = append(list, a.zeros[c].warnings(c+1, rate, a.from, a.to)...)
	}
	if a.holes > 0 {
		list = append(list, warning.Newf(Dropouts, "%d tenths of a second lie 20 dB or more below the rest: dropouts", a.holes).Of(float64(a.holes), "tenths of a second"))
	}
	list = append(list, a.repeats.warnings()...)
	if a.survey.Identical() && a.to > a.from {
		list = append(list, identicalChannels())
	}
	return list
}

// stretches calls visit with successive stretches of the active part, of equal length, size frames or a little more.
func (a active) stretches(r pcm.Reader, size int, visit func(block [][]float64) error) error {
	count := max(1, (a.to-a.from)/size)
	length := (a.to - a.from) / count
	buf := pcm.Planes(r.Format().Channels, length)
	for i := range count {
		from := a.from + i*length
		if n, err := r.ReadFrames(buf, from); n < length {
			return fmt.Errorf("read at frame %d: %w", from, err)
		}
		if err := visit(buf); err != nil {
			return err
		}
	}
	return nil
}
