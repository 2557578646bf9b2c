package tone

import (
	"math"
	"math/cmplx"

	"heardiff/measure/signal"
	"heardiff/measure/spectrum"
	"heardiff/stats/warning"
)

const (
	// leastShift is in seconds: no chain's own delay differs by as much over an octave, nor by half a period at the low end,
	// where filters against DC delay. Common practice, no source.
	leastShift = 1e-3
	// leastPeak is by how much the response to a band exceeds the median of its surroundings, as a power, to be distinguished from
	// noise, whose peaks reach 20.
	leastPeak = 100
)

// passage is when the part of a response in a band arrives, in seconds after the response's peak.
type passage struct{ hz, delay float64 }

// narrowFromHz is the frequency from which on a band of a third of an octave is sharp enough in time. A judgement, no source;
// TestLostAndRepeatedFramesOfASweepAreNamed holds it.
const narrowFromHz = 2000

// passages returns the passages of bands a third of an octave apart, up to a frequency. Bands without a response are left out. They are
// an octave wide, to be sharp in time, and narrower where that is not needed, to reach up to the end.
func (c cutter) passages(linear response, high float64) []passage {
	var list []passage
	for f := signal.SweepLowHz * math.Sqrt2; ; f *= math.Cbrt(2) {
		half := math.Sqrt2
		if f > narrowFromHz {
			half = math.Pow(2, 1.0/6)
		}
		if f*half > high {
			return list
		}
		if delay, ok := c.arrival(linear, f/half, f*half); ok {
			list = append(list, passage{f, delay})
		}
	}
}

// arrival returns where the envelope of the linear response between two frequencies is highest, within the window that it
// was cut out by.
func (c cutter) arrival(linear response, low, high float64) (delay float64, ok bool) {
	first, last := int(low/linear.binHz), int(high/linear.binHz)
	size := spectrum.PowerOfTwo(4 * (last - first + 1)) // four points to what the band resolves
	part := make([]complex128, size)
	for i := range last - first + 1 {
		x := float64(i) / float64(last-first)
		part[i] = linear.bins[first+i] * complex((1-math.Cos(2*math.Pi*x))/2, 0)
	}
	spectrum.NewComplexPlan(size).Inverse(part, part)
	step := 1 / (linear.binHz * float64(size))
	before, after := c.window(1)
	power := make([]float64, int((before+after)/c.rate/step))
	best := 0
	for k := range power {
		power[k] = real(part[k])*real(part[k]) + imag(part[k])*imag(part[k])
		if power[k] > power[best] {
			best = k
		}
	}
	ok = power[best] > leastPeak*spectrum.Median(power)
	return (float64(best)+vertex(power, best))*step - before/c.rate, ok
}

// withoutOwnDelay turns the phase of a response back by that of the minimum-phase filter that has its magnitude: a cut, a notch or a
// band limit delays what it passes, and is no jump. Beyond low and high the magnitude is taken to go on as at these.
//
// ref: A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal Processing, the phase of a minimum-phase sequence by its folded cepstrum
// (from memory).
func (r response) withoutOwnDelay(low, high float64) response {
	n := 2 * (len(r.bins) - 1)
	first, last := int(math.Ceil(low/r.binHz)), int(high/r.binHz)
	least := 0.0
	for _, z := range r.bins[first : last+1] {
		least = max(least, cmplx.Abs(z)*deepest)
	}
	logs := make([]complex128, len(r.bins))
	for k := range logs {
		logs[k] = complex(math.Log(max(cmplx.Abs(r.bins[min(max(k, first), last)]), least, 1e-300)), 0)
	}
	plan := spectrum.NewPlan(n)
	cepstrum := plan.Inverse(nil, logs)
	for i := 1; i < n/2; i++ {
		cepstrum[i], cepstrum[n-i] = 2*cepstrum[i], 0
	}
	out := response{bins: make([]complex128, len(r.bins)), binHz: r.binHz}
	for k, z := range plan.Forward(nil, cepstrum) {
		out.bins[k] = r.bins[k] * cmplx.Rect(1, -imag(z))
	}
	return out
}

// deepest is the greatest depth of a notch that is believed, relative to the strongest part of a response: −80 dB.
const deepest = 1e-4

// vertex returns where, in steps off k, the parabola through the logarithms of the values around k is highest.
func vertex(power []float64, k int) float64 {
	if k == 0 || k == len(power)-1 {
		return 0
	}
	a, b, c := math.Log(power[k-1]), math.Log(power[k]), math.Log(power[k+1])
	if bend := 2*b - a - c; bend > 0 {
		return (c - a) / (2 * bend)
	}
	return 0
}

// sweepJump is where a sweep jumps in time. Where samples were dropped, what comes after arrives early.
type sweepJump struct {
	byS     float64 // below 0: dropped; 0: the sweep does not jump
	hz, atS float64 // where the sweep is then, and when, from the beginning of the recording
}

// warnings returns what the jump means for a channel, nothing where there is none.
func (j sweepJump) warnings(channel int) []warning.Warning {
	if j.byS == 0 {
		return nil
	}
	what := "repeated"
	if j.byS < 0 {
		what = "dropped"
	}
	return []warning.Warning{warning.Newf(TimeJump, "channel %d: the sweep jumps by %.1f ms at about %.2g kHz, %.1f s from the beginning: samples were %s, and the response there is not the chain's",
		channel, math.Abs(j.byS)*1e3, j.hz/1000, j.atS, what).In(channel).At(j.atS).Of(1e3*j.byS, "ms")}
}

// jump returns where the sweep first jumps in time. begin is when the sweep passes 20 Hz at the delay of the peak.
//
// That its level moves cannot be distinguished from a response that is not flat: one sweep shows each frequency once.
func (c cutter) jump(linear response, begin, high float64) sweepJump {
	list := c.passages(linear.withoutOwnDelay(signal.SweepLowHz, high), high)
	for i := 2; i < len(list); i++ {
		before := list[max(0, i-3)] // the bands of the jump itself show either
		least := max(leastShift, 1/(2*before.hz))
		if math.Abs(list[i].delay-before.delay) < least {
			continue
		}
		by := list[min(i+2, len(list)-1)].delay - before.delay
		hz := math.Sqrt(list[i].hz * list[i-1].hz)
		return sweepJump{byS: by, hz: hz, atS: begin + c.growth*math.Log(hz/signal.SweepLowHz)}
	}
	return sweepJump{}
}
