package tone

import (
	"math"
	"math/cmplx"

	"heardiff/measure/signal"
	"heardiff/measure/spectrum"
	"heardiff/stats/warning"
)

const (
	phaseSeconds = 0.05 // a phase is read over
	// leastJump is in seconds: no clock worth the name slips by as much within 0.05 s and goes on at its old pace. Of the numbers of
	// samples that may be lost or repeated, one in two thousand moves 997 Hz by less. Common practice, no source.
	leastJump = 250e-9
	// jumpSigmas is how many standard deviations of the steps of the phase a jump has at the least: chance alone exceeds it
	// once in 10¹⁵ steps of noise. What a clock wanders by in periods does not reach two.
	jumpSigmas = 8
	// neighbours is how many steps on either side, from the next but one on, the pace is the median of: two jumps among five do not change
	// it.
	neighbours = 5
)

// follow notes the phases of the tones in successive parts, in turns off where the frequency first found would have
// them. The parts go on from stretch to stretch: a gap between two would show as a jump wherever that frequency is not quite the tone's.
func (t *tracker) follow(x []float64) {
	n := t.phaseFrames()
	t.ahead = append(t.ahead, x...)
	for ; len(t.ahead) >= n; t.ahead = t.ahead[n:] {
		for k, omega := range t.omegas {
			at := float64(len(t.phases[k])*n) + float64(n-1)/2
			t.phases[k] = append(t.phases[k], (cmplx.Phase(project(t.ahead[:n], omega))-omega*at)/(2*math.Pi))
		}
	}
	t.ahead = append([]float64(nil), t.ahead...)
}

func (t *tracker) phaseFrames() int { return max(1, int(phaseSeconds*t.rate)) }

// jump is a place at which a tone goes on elsewhere in its period: samples were dropped or repeated before it.
type jump struct {
	count int
	first float64 // seconds from the beginning of the active part
}

// jumps returns the jumps of the tone that jumps most often. Not every tone shows every loss, since a loss of full periods does not change it.
func (t *tracker) jumps() jump {
	var most jump
	for k, phases := range t.phases {
		if j := t.jumpsOf(phases, t.omegas[k]/(2*math.Pi)*t.rate); j.count > most.count {
			most = j
		}
	}
	return most
}

// jumpsOf returns where the course of one tone jumps.
//
// A step is compared with the steps before it and after it, and must be off both: a clock that wanders, drifts as it
// warms, or changes its pace, does not jump. A phase that comes back at once is a part of the tone that was muted.
func (t *tracker) jumpsOf(phases []float64, hz float64) jump {
	steps := make([]float64, max(0, len(phases)-1))
	for i := range steps {
		steps[i] = wrapped(phases[i+1] - phases[i])
	}
	if len(steps) < 2*neighbours {
		return jump{}
	}
	before, after := paces(steps)
	off := make([]float64, len(steps))
	for i, s := range steps {
		off[i] = math.Abs(wrapped(s - before[i] - wrapped(after[i]-before[i])/2))
	}
	least := max(leastJump*hz, jumpSigmas*spectrum.Deviation(off))
	jumps := func(i int) bool {
		if i < neighbours || i >= len(steps)-neighbours { // few to one side: a clock that changes its pace there seems to jump
			return offPace(steps[i], before[i], after[i], 4*least)
		}
		return offPace(steps[i], before[i], after[i], least)
	}
	found := jump{}
	for i := 0; i < len(steps); i++ {
		if !jumps(i) {
			continue
		}
		// One jump inside a part shows in the step before it and in the one after.
		last := min(i+2, len(steps)-1)
		for last > i && !jumps(last) {
			last--
		}
		net := 0.0
		for k := i; k <= last; k++ {
			net += steps[k] - before[i]
		}
		if math.Abs(wrapped(net)) >= least {
			if found.count == 0 {
				found.first = float64((i+1)*t.phaseFrames()) / t.rate
			}
			found.count++
		}
		i = last
	}
	return found
}

// wrapped returns turns between −½ and ½.
func wrapped(turns float64) float64 { return turns - math.Round(turns) }

// offPace reports whether a step is off the pace before and off the pace after it, to the same side.
func offPace(step, before, after, least float64) bool {
	b, a := wrapped(step-before), wrapped(step-after)
	return math.Abs(b) >= least && math.Abs(a) >= least && a*b > 0
}

// paces returns the median of the neighbours before each step and of those after it; at the ends, of as many as there are.
func paces(steps []float64) (before, after []float64) {
	before, after = make([]float64, len(steps)), make([]float64, len(steps))
	for i := range steps {
		past := steps[max(0, i-1-neighbours):max(0, i-1)]
		next := steps[min(len(steps), i+2):min(len(steps), i+2+neighbours)]
		if len(past) < neighbours/2 {
			past = next
		}
		if len(next) < neighbours/2 {
			next = past
		}
		before[i], after[i] = spectrum.Median(past), spectrum.Median(next)
	}
	return before, after
}

func (t tracked) jumpWarnings() (list []warning.Warning) {
	for c, ch := range t.channels {
		if ch == nil {
			continue
		}
		if j := ch.jumps(); j.count > 0 {
			first := float64(t.from)/ch.rate + j.first
			list = append(list, warning.Newf(PhaseJumps, "channel %d: the tone jumps in phase at %d places, the first %.2f s from the beginning: samples were dropped or repeated, and the noise is not the chain's",
				c+1, j.count, first).In(c+1).At(first).Of(float64(j.count), "places"))
		}
	}
	return list
}

// clocksAgree is what the clocks of a player and a recorder differ by at most, relative; pastClocks is the difference from which
// on a tone near a usual one is another tone, and no clock's doing. Common practice, no source: crystals keep to 100 ppm each.
const clocksAgree, pastClocks = 3e-4, 5e-4

// strayTone is wrongRate of a single tone, which is 997 Hz or 1 kHz unless it is at a multiple of ten hertz: there
// somebody meant it to be.
func strayTone(channel int, hz float64) []warning.Warning {
	if nearest := 10 * math.Round(hz/10); math.Abs(hz-nearest) < clocksAgree*hz {
		return nil
	}
	return wrongRate(channel, hz, signal.ToneHz, 1000)
}

// wrongRate returns a warning where a tone is at the frequency that one of the usual test tones would have if it were
// recorded or played at another rate than its own.
func wrongRate(channel int, hz float64, tests ...float64) []warning.Warning {
	rates := []float64{32000, 44100, 48000, 88200, 96000, 176400, 192000}
	for _, f := range tests {
		if math.Abs(hz/f-1) < clocksAgree {
			return nil
		}
	}
	for _, f := range tests {
		for _, played := range rates {
			for _, own := range rates {
				if r := played / own; r != 1 && math.Abs(hz/(f*r)-1) < clocksAgree {
					return []warning.Warning{warning.Newf(WrongRate, "channel %d: the tone is at %.2f Hz: a tone of %.0f Hz at %.5g times its rate, as where a file of %.5g Hz is taken for one of %.5g Hz",
						channel, hz, f, r, own, played).In(channel).Of(hz, "Hz")}
				}
			}
		}
		if off := hz/f - 1; math.Abs(off) < pastClocks {
			return []warning.Warning{warning.Newf(OffFrequency, "channel %d: the tone is at %.3f Hz, %+.0f ppm off %.0f Hz: a clock is out of order, or another tone was played", channel, hz, off*1e6, f).In(channel).Of(off*1e6, "ppm")}
		}
	}
	return nil
}
