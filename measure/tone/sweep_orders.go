package tone

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"heardiff/measure/signal"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

const (
	// shortFromHz is the frequency from which on a short stretch of a harmonic is taken. Chains that ring on do so at low
	// frequencies, and what a digital chain's distortion folds back at half its rate comes at other moments than the harmonics that
	// it could be taken for, though near them: 2·f and 3·f fold onto each other at a fifth of the rate.
	shortFromHz = 2000
	// shortest is half of that stretch, in seconds; shorter yet in short sweeps. Clocks 200 ppm apart move a harmonic by
	// 4 ms in a sweep of a minute.
	shortest, shortestPart = 0.05, 0.03
	// edgeHz is the frequency up to which the sweep's beginning shows in a harmonic.
	edgeHz = 60
	// spilt is how much of what the sweep's beginning spills is left when the chain's own response to it is taken out, where clocks are
	// 100 ppm apart.
	spilt = 0.1
	// A harmonic whose low end is lost is named where it is so far above its limit, and no farther below the strongest, in dB. Judgement, no source;
	// TestWhatAChainDoesToASweepIsNoJump holds the first.
	clearOfLimitDB, farBelowDB = 10, 40
)

// reference is what the sweep alone gives, without a chain.
type reference struct {
	wire cutter
	// edges are the responses of chains that make only one harmonic, as strong as the sweep itself, by its order:
	// only the beginning of the sweep.
	edges [highestHarmonic + 1]cutter
}

func newReference(rate pcm.Rate, growth float64) reference {
	r := reference{wire: undo(ideal(rate, growth), rate.Hz(), growth)}
	for n := 2; n <= highestHarmonic; n++ {
		r.edges[n] = edgeOf(n, growth)
	}
	return r
}

// edgeOf works at a low rate and up to three times edgeHz, to be quick.
func edgeOf(n int, growth float64) cutter {
	const rate = 4000
	shape := signal.SweepShape{Rate: rate, GrowthS: growth, HighHz: 3 * edgeHz, BeginS: growth}
	x := make([]float64, int(rate*growth*(2+math.Log(shape.HighHz/signal.SweepLowHz))))
	for i := range x {
		x[i] = shape.Harmonic(n, float64(i)/rate)
	}
	c := undo(x, rate, growth)
	c.peak = rate * growth // where the linear response would be
	return c
}

// orders separates the harmonics of a recorded sweep.
type orders struct {
	reference
	cut       cutter
	linear    response
	chain     []complex128 // the response of the chain, by bins; 0 outside of the sweep
	low, high float64
}

// orderPoint is a harmonic at a frequency of the sweep, as ratios to the linear response there: with it, what the capture's noise
// leaves there, read from so many independent bins, and what the sweep's own beginning leaves.
type orderPoint struct{ hz, level, noise, bins, spill float64 }

// harmonics returns the harmonics of orders 2 to highestHarmonic, and the orders that are missed where their points are lost.
func (o orders) harmonics() (list []SweepHarmonic, missed []int) {
	var points [highestHarmonic + 1][]orderPoint
	for n := 2; n <= highestHarmonic; n++ {
		points[n] = o.points(n)
	}
	strongest := math.Inf(-1)
	for n := 2; n <= highestHarmonic; n++ {
		o.addSpill(n, points)
		h := harmonicOf(n, points[n])
		list = append(list, h)
		strongest = math.Max(strongest, h.DB)
	}
	for _, h := range list {
		hidden := func(p orderPoint) bool { return p.lost() && pcm.DB(2*p.spill) > h.DB }
		if h.DB > math.Max(h.LimitDB+clearOfLimitDB, strongest-farBelowDB) && slices.ContainsFunc(points[h.Order], hidden) {
			missed = append(missed, h.Order)
		}
	}
	return list, missed
}

// points returns the harmonic of order n.
//
// The beginning of the sweep, faded as it is, spills to higher frequencies at the very moment at which harmonics of 20 Hz come: what of
// that the chain lets through is known from the sweep itself, and taken out. And near the beginning a response is not
// the chain's alone: it is divided by that of a chain which makes nothing but the harmonic.
func (o orders) points(n int) []orderPoint {
	own, spill, noise, edge := o.cut.response(n), o.wire.response(n), o.noise(n), o.edges[n].response(n)
	for k, g := range o.chain {
		spill.bins[k] *= g
		own.bins[k] -= spill.bins[k]
	}
	var list []orderPoint
	for _, f := range ratios(o.low, o.high/float64(n), 60) {
		at := float64(n) * f
		scale := 1 / o.linear.at(f)
		if f < edgeHz {
			scale /= edge.at(at)
		}
		rms, bins := noise.around(at)
		list = append(list, orderPoint{f, own.at(at) * scale, rms * scale, bins, spilt * spill.at(at) * scale})
	}
	return list
}

// addSpill adds to the points of order n what the beginnings of the other harmonics spill there, by the most that each has below edgeHz.
func (o orders) addSpill(n int, points [highestHarmonic + 1][]orderPoint) {
	for m := 2; m <= highestHarmonic; m++ {
		most := 0.0
		for _, p := range points[m] {
			if p.hz < edgeHz {
				most = max(most, p.level)
			}
		}
		if m == n || most == 0 {
			continue
		}
		spill := o.edges[m].response(n)
		for k := range points[n] {
			if p := &points[n][k]; p.hz < edgeHz {
				p.spill = math.Hypot(p.spill, most*spill.at(float64(n)*p.hz))
			}
		}
	}
}

// lost reports whether what the sweep's beginning spills may be half of what is there.
func (p orderPoint) lost() bool { return p.level < 2*p.spill }

// harmonicOf puts the points of an order together, and keeps every other one. Those lost are NaN, and count for nothing.
func harmonicOf(n int, points []orderPoint) SweepHarmonic {
	h := SweepHarmonic{Order: n, DB: math.NaN(), LimitDB: math.NaN()}
	level, spill, count := 0.0, 0.0, 0.0
	var limits []float64
	for i, p := range points {
		kept := HarmonicPoint{Hz: p.hz, DB: math.NaN(), LimitDB: pcm.DB(math.Hypot(beyond95(p.bins)*p.noise, p.spill))}
		if !p.lost() {
			kept.DB = pcm.DB(p.level)
			level, spill, count = level+p.level*p.level, spill+p.spill*p.spill, count+1
			limits = append(limits, pcm.DB(p.noise*rayleigh95/math.Sqrt2))
		}
		if i%2 == 0 {
			h.Response = append(h.Response, kept)
		}
	}
	if count > 0 {
		h.DB, h.LimitDB = pcm.PowerDB(level/count), pcm.PowerDB((noisePower(limits...)+spill)/count)
	}
	return h
}

// shortGrowth is the time in seconds in which a sweep's frequency must grow e-fold for the harmonics of 20 Hz to be separate: from 8 s
// in all.
const shortGrowth = 1

// lostWarning says of which harmonics the low end is lost, or rough.
func lostWarning(channel int, missed []int, growth float64) []warning.Warning {
	switch {
	case growth < shortGrowth:
		return []warning.Warning{warning.Newf(ShortSweep, "channel %d: so short a sweep hardly parts the harmonics of its low end from each other: below %d Hz they are rough, and those lost in what its beginning spills are left out: 10 s and more show them", channel, edgeHz).In(channel).Of(edgeHz, "Hz")}
	case len(missed) > 0:
		return []warning.Warning{warning.Newf(LostHarmonics, "channel %d: near 20 Hz harmonics %s are lost in what the sweep's own beginning spills there, and left out: a longer sweep shows them", channel, strings.Trim(fmt.Sprint(missed), "[]")).In(channel).Of(float64(len(missed)), "harmonics")}
	}
	return nil
}

// sweepNoise is what the noise of a recording leaves in the window of an order, within the sweep's frequencies.
type sweepNoise struct {
	response
	perBin    float64 // independent bins in one of the response's
	low, high float64 // Hz
}

// noise returns the noise in the window of order n: read half way to the next order, where there is nothing but the tails of both and what
// the sweep's beginning spills, which is taken out; in a narrower window, and scaled to that of n by their powers.
func (o orders) noise(n int) sweepNoise {
	r, gap := o.cut.gap(n)
	spill, _ := o.wire.gap(n)
	before, after := o.cut.window(n)
	_, own := o.cut.cut(0, before, after)
	short := o.cut.shortWindow()
	_, brief := o.cut.cut(0, short, short)
	for k := range r.bins {
		power := own.squares
		if n > 1 && float64(k)*r.binHz >= shortFromHz {
			power = brief.squares
		}
		r.bins[k] = (r.bins[k] - spill.bins[k]*o.chain[k]) * complex(math.Sqrt(power/gap.squares), 0)
	}
	return sweepNoise{response: r, perBin: gap.frames() / o.cut.rate * r.binHz, low: o.low, high: o.high}
}

// gap returns what is half way between order n and the next.
func (c cutter) gap(n int) (response, windowSums) {
	before, _ := c.window(n)
	half := min(before, 0.2*c.growth*math.Log(float64(n+1)/float64(n))*c.rate)
	cut, sums := c.cut(c.place(math.Sqrt(float64(n*(n+1)))), half, half)
	return c.transform(cut), sums
}

// leastNoiseBins is how many independent bins the noise is read from at the least: known to a quarter of its power.
const leastNoiseBins = 16

// around returns the RMS magnitude within a sixth of an octave to either side of f, or within more where that is too little, and of how many
// independent bins it is.
func (r sweepNoise) around(f float64) (rms, independent float64) {
	const sixth = 1.122462048309373
	reach := leastNoiseBins / 2 * r.binHz / r.perBin
	first := int(math.Ceil(math.Max(math.Min(f/sixth, f-reach), r.low) / r.binHz))
	last := min(int(math.Min(math.Max(f*sixth, f+reach), r.high)/r.binHz), len(r.bins)-1)
	sum, count := 0.0, float64(last-first+1)
	for _, z := range r.bins[first : last+1] {
		sum += real(z)*real(z) + imag(z)*imag(z)
	}
	return math.Sqrt(sum / count), max(1, count*r.perBin)
}

// shortWindow is half of the stretch of a harmonic that is looked at from shortFromHz on, in frames.
func (c cutter) shortWindow() float64 { return min(shortest, shortestPart*c.growth) * c.rate }

// over returns r divided by the response of a wire within the sweep's frequencies, 0 outside.
func (r response) over(wire response, low, high float64) []complex128 {
	list := make([]complex128, len(r.bins))
	for k := range list {
		if f := float64(k) * r.binHz; f >= low && f <= high && cmplx.Abs(wire.bins[k]) > 0 {
			list[k] = r.bins[k] / wire.bins[k]
		}
	}
	return list
}
