package tone

import (
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"

	"gonum.org/v1/gonum/stat"
)

// What a recording of silence is. Judgement, no source; TestLoudNoiseIsNoSilence and TestFaultsOfTheRecorderAreNamed hold the first two.
const (
	loudestNoise = -30 // dBFS
	clickRatio   = 4   // a tenth of a second holds a click where it is louder than the rest by 12 dB
	leastTenths  = 4   // that hold anything, for its ends to be found
	inSecond     = 10  // tenths
	oneLineDB    = 3   // a line this little below all of it holds half the power
)

// quiet is the part of a recording of silence that is the chain's, and what is unusual about it.
type quiet struct {
	from, to int // frames
	zeros    int // tenths of a second within it of zeros only
	clicks   int // tenths of a second within it that are clickRatio louder than the rest
	movesDB  float64
	repeats  *repeats
	rate     pcm.Rate
	silences []zeros // of each channel
	same     bool    // all channels are equal in every sample, and not silent
}

// findQuiet reads all of r and leaves out digital zeros at the ends, and clicks in the first and last second,
// with a tenth of a second of guard.
func findQuiet(r pcm.Reader) (quiet, error) {
	f := r.Format()
	size := max(1, int(f.Rate)/10)
	var levels []float64 // of the loudest channel, without DC
	q := quiet{to: r.Frames(), repeats: newRepeats(f.Rate), rate: f.Rate, silences: make([]zeros, f.Channels)}
	survey, err := measure.SurveyOf(r, size, func(block [][]float64, _ int) {
		loudest := 0.0
		for c, x := range block {
			loudest = max(loudest, stat.PopStdDev(x, nil))
			q.silences[c].write(x)
		}
		levels = append(levels, loudest)
		q.repeats.write(block[0])
	})
	if err != nil {
		return q, err
	}
	for c := range q.silences {
		q.silences[c].end()
	}
	q.same = survey.Identical() && slices.Max(levels) > 0
	q.locate(levels, size)
	return q, nil
}

func (q *quiet) locate(levels []float64, size int) {
	sounding := slices.DeleteFunc(slices.Clone(levels), func(v float64) bool { return v == 0 })
	if len(sounding) < leastTenths { // digital silence, or too little to find its ends
		return
	}
	usual := spectrum.Median(sounding)
	odd := func(i int) bool { return levels[i] == 0 || levels[i] > clickRatio*usual }
	first, last := 0, len(levels)-1
	for levels[first] == 0 {
		first++
	}
	for levels[last] == 0 {
		last--
	}
	begin, end := first, last
	for i := range min(inSecond, (end-begin)/3) { // a switch is thrown within a second of the recorder's
		if odd(begin + i) {
			first = begin + i + 1
		}
		if odd(end - i) {
			last = end - i - 1
		}
	}
	if first > 0 {
		first++
	}
	if last < len(levels)-1 {
		last--
	}
	if last-first+1 < leastTenths {
		return
	}
	q.from, q.to = first*size, min(q.to, (last+1)*size)
	q.judge(levels[first:last+1], usual)
}

// judge counts what is unusual in levels of tenths, and how far those of full seconds move.
func (q *quiet) judge(levels []float64, usual float64) {
	low, high := math.Inf(1), 0.0
	sum := 0.0
	for i, v := range levels {
		switch {
		case v == 0:
			q.zeros++
		case v > clickRatio*usual:
			q.clicks++
		}
		sum += v * v
		if (i+1)%inSecond == 0 {
			low, high = min(low, sum), max(high, sum)
			sum = 0
		}
	}
	if high > 0 {
		q.movesDB = pcm.PowerDB(high / low)
	}
}

func (q quiet) warnings() []warning.Warning {
	list := q.repeats.warnings()
	if q.same {
		list = append(list, identicalChannels())
	}
	for c := range q.silences {
		if q.zeros == 0 {
			list = append(list, q.silences[c].warnings(c+1, q.rate, q.from, q.to)...)
		}
	}
	if q.zeros > 0 {
		list = append(list, warning.Newf(Dropouts, "%d tenths of a second are digital zeros: dropouts, or a gate", q.zeros).Of(float64(q.zeros), "tenths of a second"))
	}
	if q.clicks > 0 {
		list = append(list, warning.Newf(Clicks, "%d tenths of a second are 12 dB louder than the rest: clicks, or not only silence", q.clicks).Of(float64(q.clicks), "tenths of a second"))
	}
	const steady = 3 // dB between seconds; common practice, no source
	if q.movesDB > steady && q.zeros == 0 && q.clicks == 0 {
		list = append(list, warning.Newf(measure.LevelMoves, "the noise moves by %.1f dB from second to second: automatic gain, or not only silence", q.movesDB).Of(q.movesDB, "dB"))
	}
	return list
}

// oneLine reports whether the strongest line has half of the power or more, and is not of the mains.
func (c NoiseChannel) oneLine() bool {
	return len(c.Spurs) > 0 && c.Spurs[0].DBFS > c.UnweightedDBFS-oneLineDB
}
