package clock

import (
	"fmt"
	"math"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/stats/warning"

	"gonum.org/v1/gonum/floats"
)

// report makes the figures of all channels.
func report(t measure.ToneStretch, bands demodulated, nominalHz float64) Result {
	rate, interval := t.Format.Rate.Hz(), bands.interval
	out := Result{Schema: "heardiff.clock/1", CarrierHz: math.NaN(), NominalHz: nominalHz, RateHz: rate,
		BandwidthHz: bandwidthHz, IntervalS: interval}
	out.Warn(t.Warnings...)
	for c, b := range bands.channels {
		ch := Channel{Channel: c + 1, OffsetPPM: math.NaN(), DriftPPMPerS: math.NaN()}
		if !t.Sounds(c) {
			out.Warn(warning.Newf(measure.NoSignal, "channel %d has no tone", c+1).In(c + 1))
			out.Channel = append(out.Channel, ch)
			continue
		}
		x := timeErrors(b.phase, interval, bands.mixedHz, nominalHz)
		if at, size := jump(x); size > leastJump/rate {
			s := float64(at) * interval
			out.Warn(warning.Newf(TimeJump, "channel %d: time jumps by %.3g µs at %.1f s of the tone: lost or repeated samples are no clock, and every figure holds them", c+1, 1e6*size, s).In(c+1).At(float64(t.From)/rate+s).Of(1e6*size, "µs"))
		}
		ch.fill(x, b.level, interval, nominalHz)
		if c == t.Loudest() {
			out.CarrierHz = nominalHz * (1 + 1e-6*ch.OffsetPPM)
			out.Seconds = float64(len(x)) * interval
		}
		out.Channel = append(out.Channel, ch)
	}
	return out
}

// timeErrors returns x(t), in seconds, from the phase against the frequency mixed down by:
// 2π·f₀·(t + x) = 2π·mixed·t + phase.
func timeErrors(phase []float64, interval, mixedHz, nominalHz float64) []float64 {
	x := make([]float64, len(phase))
	for i, p := range phase {
		t := float64(i) * interval
		x[i] = (mixedHz/nominalHz-1)*t + p/(2*math.Pi*nominalHz)
	}
	return x
}

// leastJump is the step of time, in frames, from which on there is a warning; a lost frame seen through the filter is more.
const leastJump = 0.2

// jump returns the largest step of x beyond what a steady frequency makes, and where it is: the largest second difference, where it
// exceeds the others; else 0.
func jump(x []float64) (at int, size float64) {
	second := make([]float64, max(0, len(x)-2))
	for i := range second {
		second[i] = math.Abs(x[i+2] - 2*x[i+1] + x[i])
		if second[i] > size {
			at, size = i+1, second[i]
		}
	}
	const outstanding = 20 // medians: Gaussian noise of a day does not reach 10
	if size < outstanding*spectrum.Median(second) {
		return 0, 0
	}
	return at, size
}

// fill writes the figures that follow from the time errors, and the limits that follow from the level's.
func (c *Channel) fill(x, level []float64, interval, nominalHz float64) {
	offset, drift := trend(x, interval)
	c.OffsetPPM, c.DriftPPMPerS = 1e6*offset, 1e6*drift
	noise := make([]float64, len(level)) // what noise that moves the level so much does to time
	for i, l := range level {
		noise[i] = l / (2 * math.Pi * nominalHz)
	}
	straight, levelled := withoutLine(x), withoutLine(noise)
	for _, n := range observations(len(x), interval) {
		tau := float64(n) * interval
		a := AllanDeviation(x, interval, n)
		c.Allan = append(c.Allan, Deviation{TauS: tau, Deviation: a, SE: a / math.Sqrt(2*allanFreedom(len(x), n)), Limit: AllanDeviation(noise, interval, n)})
		c.TDEV = append(c.TDEV, Interval{TauS: tau, NS: 1e9 * TimeDeviation(x, n), LimitNS: 1e9 * TimeDeviation(noise, n)})
		c.MTIE = append(c.MTIE, Interval{TauS: tau, NS: 1e9 * MaximumTimeInterval(straight, n), LimitNS: 1e9 * MaximumTimeInterval(levelled, n)})
	}
	c.mark()
}

// nearFloor is the ratio, 3 dB, up to which a figure counts as no more than its limit.
const nearFloor = math.Sqrt2

func (c *Channel) mark() {
	for i := range c.Allan {
		c.Allan[i].AtFloor = c.Allan[i].Deviation <= nearFloor*c.Allan[i].Limit
	}
	for _, list := range [][]Interval{c.TDEV, c.MTIE} {
		for i := range list {
			list[i].AtFloor = list[i].NS <= nearFloor*list[i].LimitNS
		}
	}
}

// timesObserved is how many times an observation time must fit into the capture: with fewer, a deviation is the mean of too few squares to
// be called one (judgement, no source; TestASwayComesBack holds it).
const timesObserved = 4

// observations returns observation times of 0.1 s and more, in steps of 1, 2 and 5, as numbers of intervals.
func observations(count int, interval float64) []int {
	var list []int
	for decade := 0.1; ; decade *= 10 {
		for _, step := range []float64{1, 2, 5} {
			n := int(math.Round(step * decade / interval))
			if n > (count-1)/timesObserved {
				return list
			}
			list = append(list, n)
		}
	}
}

// trend returns the frequency offset, as a ratio, and its change per second: the slope of the best straight line through x, and
// twice the quadratic term of the best parabola.
func trend(x []float64, interval float64) (offset, drift float64) {
	// Legendre polynomials on the places, so that the two terms are independent.
	n := float64(len(x))
	mean := (n - 1) / 2
	spread := (n*n - 1) / 12
	var first, first2, second, second2 float64
	for i, v := range x {
		u := float64(i) - mean
		q := u*u - spread
		first, first2 = first+u*v, first2+u*u
		second, second2 = second+q*v, second2+q*q
	}
	return first / first2 / interval, 2 * second / second2 / (interval * interval)
}

// withoutLine returns x less its best straight line.
func withoutLine(x []float64) []float64 {
	slope, _ := trend(x, 1)
	mean := floats.Sum(x) / float64(len(x))
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v - mean - slope*(float64(i)-float64(len(x)-1)/2)
	}
	return out
}

// SetFloor raises the limits of r to what the same measurement of the recording set-up alone shows at the same observation times, and
// marks what is within 3 dB of them. It returns an error where the floor is of another rate, carrier or number of channels.
func (r *Result) SetFloor(floor Result) error {
	switch {
	case floor.RateHz != r.RateHz || floor.NominalHz != r.NominalHz:
		return fmt.Errorf("clock: the floor is a carrier of %.0f Hz at %.0f Hz, the capture one of %.0f Hz at %.0f Hz", floor.NominalHz, floor.RateHz, r.NominalHz, r.RateHz)
	case len(floor.Channel) != len(r.Channel):
		return fmt.Errorf("clock: the floor has %d channels, the capture %d", len(floor.Channel), len(r.Channel))
	}
	for c := range r.Channel {
		ch, below := &r.Channel[c], floor.Channel[c]
		for i := range min(len(ch.Allan), len(below.Allan)) {
			ch.Allan[i].Limit = max(ch.Allan[i].Limit, below.Allan[i].Deviation)
			ch.TDEV[i].LimitNS = max(ch.TDEV[i].LimitNS, below.TDEV[i].NS)
			ch.MTIE[i].LimitNS = max(ch.MTIE[i].LimitNS, below.MTIE[i].NS)
		}
		ch.mark()
	}
	return nil
}
