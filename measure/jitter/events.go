package jitter

import (
	"math"
	"slices"
	"sync"

	"heardiff/measure/spectrum"
)

// Events: a tick, which no clock makes, and a block that was lost or repeated. Either is short, and fills the band evenly or nearly so, while
// lines are out of it already and noise is the same at all times. So the upper part of the band, as a function of time, shows them.
const (
	// eventPower is how far above the mean noise the two powers of phase and amplitude together are at an event: as 8 standard errors of
	// either quadrature. Noise alone, (1 + T)·exp(−T), does so once in 10¹² values.
	eventPower = 8 * 8 / 2
	// mostCut is the part of a record that may be bridged; more are no single events.
	mostCut = 0.02
	// clearStep is the least size of a step, as a multiple of the usual scatter.
	clearStep = 8
	// finest is how many times fewer values than baseband samples determine the time of an event.
	finest = 8
	// aWhile is the time in seconds over which noise is the same, and mostSwing the largest ratio of the noise there to the typical noise:
	// what folds back moves between phase and amplitude while a carrier near rate/4 slides against the samples, twice the mean at the most,
	// of which the typical is no less than 0.7.
	aWhile    = 0.05
	mostSwing = 3
	// enough values determine the noise of a while.
	enough = 128
	// leastValues are needed for an envelope. A judgement, no source; TestATickIsNamedAndLeftOut holds it.
	leastValues = 64
)

// event is a stretch of baseband samples that an event reaches.
type event struct {
	from, to int     // the last not included
	step     float64 // radians of phase, from before to after; 0 where it is no more than noise
	seconds  float64 // in the capture
	bridged  bool    // bridged, so that no figure holds it
}

// eventDetector looks for events in one channel after the other; it holds the memory for the upper part of the band as a function of time.
type eventDetector struct {
	lock     sync.Mutex
	plan     *spectrum.ComplexPlan // nil where the band has too few bins
	envelope []complex128
	powers   []float64
	high     int // the bin after the last
}

// newEventDetector makes a detector for records of a padded transform of so many samples at a rate.
func newEventDetector(size int, rateHz, highHz float64) *eventDetector {
	w := &eventDetector{high: int(highHz / rateHz * float64(size))}
	if n := spectrum.Halved(size/finest, 0, w.high); n >= leastValues {
		w.plan, w.envelope, w.powers = spectrum.NewComplexPlan(n), make([]complex128, n), make([]float64, n)
	}
	return w
}

// events returns the events in the upper part of the band, each as long as the filter's response to either side.
func (w *eventDetector) events(r *record, reach int) []event {
	if w.plan == nil {
		return nil
	}
	w.lock.Lock()
	defer w.lock.Unlock()
	clear(w.powers)
	least := words / (float64(w.high) * r.binHz * r.toDensity) / float64(len(w.envelope))
	for kind, bins := range [][]complex128{r.pm, r.am} {
		w.toTime(bins[w.high-len(w.envelope) : w.high])
		noise := r.typical(w.envelope) + least
		if kind == 1 { // amplitude
			noise += w.squared(r)
		}
		swing := w.swing(r)
		for i, x := range w.envelope {
			w.powers[i] += power(x) / max(noise, min(swing.at(i), mostSwing*noise))
		}
	}
	return r.standing(w.powers, reach)
}

// swing returns the noise of every while, from medians.
func (w *eventDetector) swing(r *record) course {
	c := course{length: min(len(w.envelope), max(enough, int(aWhile/(r.seconds*r.pad)*float64(len(w.envelope)))))}
	some := make([]float64, 0, 2*enough)
	for from := 0; from < len(w.envelope); from += c.length {
		some = some[:0]
		for i := from; i < min(from+c.length, len(w.envelope)); i += c.length / enough {
			some = append(some, power(w.envelope[i]))
		}
		c.noise = append(c.noise, spectrum.Median(some)/math.Ln2)
	}
	return c
}

// course is a mean power for each of so many values.
type course struct {
	length int
	noise  []float64
}

// at returns the most around a value.
func (c course) at(i int) float64 {
	k := i / c.length
	return slices.Max(c.noise[max(0, k-1):min(len(c.noise), k+2)])
}

// squared returns the amplitude power, in the units of the envelope, that counts as noise because large jitter makes it: where the filter
// takes away some of a phase φ, some φ²/2 is left in the amplitude, and is no Gaussian noise. Six standard deviations σ of φ, 18σ², shall
// be no event: (18σ²)² ≤ eventPower·10σ⁴.
func (w *eventDetector) squared(r *record) float64 {
	sum := 0.0
	for _, x := range r.pm[:w.high] {
		sum += power(x)
	}
	variance, perUnit := sum/2/r.pad, r.pad/float64(len(w.envelope))
	return 10 * variance * variance * perUnit * perUnit
}

// toTime turns bins into a function of time, from the middle of the record on. A raised cosine over the bins keeps it short.
func (w *eventDetector) toTime(bins []complex128) {
	for i, x := range bins {
		w.envelope[i] = x * complex((1-math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(bins))))/2, 0)
	}
	w.plan.Inverse(w.envelope, w.envelope)
}

// typical returns the mean power of noise, from the median within the record.
func (r *record) typical(x []complex128) float64 {
	half := int(float64(len(x)) / r.pad / 2)
	some := make([]float64, 0, 2*half/finest+1)
	for i := -half; i < half; i += finest {
		some = append(some, power(x[(i+len(x))%len(x)]))
	}
	return spectrum.Median(some) / math.Ln2
}

// standing returns the stretches around powers above noise; they begin in the middle of the record.
func (r *record) standing(powers []float64, reach int) []event {
	var out []event
	stride := float64(r.samples) * r.pad / float64(len(powers))
	half := int(float64(r.samples) / 2 / stride)
	for i := -half; i < half; i++ {
		if powers[(i+len(powers))%len(powers)] < eventPower {
			continue
		}
		at := r.samples/2 + int(math.Round(float64(i)*stride))
		from, to := max(0, at-reach), min(r.samples, at+reach+1)
		// Events so near that one lies where the other's step is read are one.
		if len(out) > 0 && from <= out[len(out)-1].to+2*reach+1 {
			out[len(out)-1].to = to
			continue
		}
		out = append(out, event{from: from, to: to})
	}
	return out
}

// bridge replaces what events reach by a straight line, unless they are steps or too much of the record. Lines must be out of it.
func (r *record) bridge(events []event, t *transform) {
	r.inTime(t, func(z []complex128) {
		total, bridged := 0, 0
		for i := range events {
			events[i].readStep(z)
			total += events[i].to - events[i].from
		}
		for i := range events {
			e := &events[i]
			if e.bridged = e.step == 0 && float64(total) < mostCut*float64(len(z)); e.bridged {
				bridgeLine(z, e.from, e.to)
				bridged += e.to - e.from
			}
		}
		r.unbridged = 1 - float64(bridged)/float64(len(z))
	})
}

// rebridge bridges the same stretches once more, after lines were subtracted that had been missed, and subtracts what remains of a trend.
func (r *record) rebridge(events []event, t *transform) {
	r.inTime(t, func(z []complex128) {
		for _, e := range events {
			if e.bridged {
				bridgeLine(z, e.from, e.to)
			}
		}
		r.retrend(z)
	})
}

// readStep reads the step of an event. What rings is over a little later, and reaches as far; a step stays.
func (e *event) readStep(z []complex128) {
	length, wide := e.to-e.from, *e
	for range 3 {
		step := stepAcross(z, wide.from, wide.to)
		if math.IsNaN(step) {
			return
		}
		if math.Abs(step) <= clearStep*usualStep(z, wide.to-wide.from) {
			e.from, e.to, e.step = wide.from, wide.to, 0
			return
		}
		if e.step == 0 {
			e.step = step
		}
		wide.from, wide.to = wide.from-length, wide.to+length
	}
}

// stepAcross returns by how much φ differs after a stretch from before, by straight lines through as much on either side: the trend and the
// lines below the band that were taken out bend round a step. It is NaN too near an end.
func stepAcross(z []complex128, from, to int) float64 {
	half := (to - from) / 2
	if from < 2*half || to+2*half > len(z) {
		return math.NaN()
	}
	// From the middle of the nearer half to the stretch's it is one and a half times as far as from half to half.
	after := 2.5*mean(z[to:to+half]) - 1.5*mean(z[to+half:to+2*half])
	before := 2.5*mean(z[from-half:from]) - 1.5*mean(z[from-2*half:from-half])
	return imag(after - before)
}

// usualStep returns the standard deviation of steps across stretches of a length where there is nothing but noise.
func usualStep(z []complex128, length int) float64 {
	const places = 32
	var steps []float64
	for i := range places {
		at := (2*i + 1) * len(z) / (2 * places)
		if step := stepAcross(z, at, at+length); !math.IsNaN(step) {
			steps = append(steps, math.Abs(step))
		}
	}
	if len(steps) == 0 {
		return 0
	}
	return spectrum.Deviation(steps)
}

func mean(z []complex128) complex128 {
	var sum complex128
	for _, x := range z {
		sum += x
	}
	return sum / complex(float64(len(z)), 0)
}

// bridgeLine draws a line from the mean of some samples before a stretch to that of some after it: single ones would make it a triangle of
// noise.
func bridgeLine(z []complex128, from, to int) {
	some := (to - from) / 8
	before, after := mean(z[max(0, from-some):max(from, 1)]), mean(z[min(to, len(z)-1):min(to+some, len(z))])
	for i := from; i < to; i++ {
		part := complex(float64(i-from+1)/float64(to-from+1), 0)
		z[i] = before*(1-part) + after*part
	}
}
