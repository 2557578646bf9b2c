package tone

import (
	"math"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// zeros finds stretches of one channel that are zero from end to end: muted, or filled in where samples were lost.
type zeros struct {
	frames, count int
	now           int // length of the run at hand
	runs          []zeroRun
}

type zeroRun struct{ from, frames int }

const (
	shortestRun = 32   // frames: what noise and the crossings of a tone hold is shorter
	mostRuns    = 1000 // more are no list of faults
	// plainZeros is the part of a recording from which on zeros are its usual words, and usualRuns how many runs a second
	// are: undithered silence of few bits, each half period of hum a run.
	plainZeros, usualRuns = 0.2, 10
)

func (z *zeros) write(x []float64) {
	for _, v := range x {
		z.frames++
		if v == 0 {
			z.count++
			z.now++
			continue
		}
		z.end()
	}
}

func (z *zeros) end() {
	if z.now >= shortestRun && len(z.runs) < mostRuns {
		z.runs = append(z.runs, zeroRun{z.frames - z.now, z.now})
	}
	z.now = 0
}

// warnings warns of the runs within frames from to to that are not due to chance, in channel n, counted from 1.
func (z *zeros) warnings(n int, rate pcm.Rate, from, to int) []warning.Warning {
	if float64(z.count) > plainZeros*float64(z.frames) || float64(len(z.runs)) > min(mostRuns-1, usualRuns*rate.Seconds(z.frames)) {
		return nil
	}
	long := 0
	for _, r := range z.runs {
		long += r.frames
	}
	often := float64(z.count-long) / float64(max(1, z.frames-long))
	// The longest run by chance is about ln(frames)/ln(1/often): four times that, and a millisecond at least.
	least := 1e-3 * rate.Hz()
	if often > 0 {
		least = max(least, 4*math.Log(float64(z.frames))/-math.Log(often))
	}
	var found []zeroRun
	for _, r := range z.runs {
		if float64(r.frames) >= least && r.from > from && r.from+r.frames < to {
			found = append(found, r)
		}
	}
	if len(found) == 0 {
		return nil
	}
	at := rate.Seconds(found[0].from)
	return []warning.Warning{warning.Newf(Muted, "channel %d: nothing but zeros %d times within the signal, first for %.1f ms at %.3f s: samples were lost or muted",
		n, len(found), 1000*rate.Seconds(found[0].frames), at).In(n).During(at, at+rate.Seconds(found[0].frames)).Of(float64(len(found)), "times")}
}
