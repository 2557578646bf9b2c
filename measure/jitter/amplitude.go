package jitter

import (
	"fmt"
	"heardiff/measure"
	"math"
	"strings"
)

// Additive noise shows in amplitude as in phase, never more. Where amplitude stands above phase it holds noise of its own, such as a
// reference voltage's, and says no longer what additive noise there is: only that this is no more than the lesser of the two, and
// that it is much the same at all frequencies, since it has no edge at the carrier.
const (
	// beyondChance is how many standard errors a stretch of narrow bands must stand above: in simulated captures of 6 to 60 s
	// of noise alone the most striking stretch does so in one channel of 800.
	beyondChance = 4.5
	// octave is in narrow bands. One that holds telling independent bins tells its noise to 3 %.
	octave  = bandsPerDecade * 3 / 10
	telling = 1000
	// Amplitude noise falls off little by little: to a stretch belong its neighbours that stand above the additive noise by tail,
	// and by tailErrors standard errors of their own.
	tail, tailErrors = 1.05, 2
	// rise is how far above the quietest octave amplitude that rises towards the carrier stands; the least of many octaves is a little too quiet.
	rise = 1.15
	// nothing is the part of the phase noise that amplitude below it does not bear on: a quarter of a per cent of the figure.
	nothing = 0.005
)

// additive fills in what additive noise takes off the phase of each band, and how far that may be wrong: where there is no more of it than
// of phase, the amplitude; elsewhere the noise of the quietest octave, which may be anything from none to twice that, or all of the phase.
// Of what folds back, by κ, see folded.
func additive(bands []noiseBand, kappa float64) {
	loud := make([]bool, len(bands))
	louder(bands, loud, words/(bands[len(bands)-1].high-bands[0].low), 0, len(bands))
	level := quietest(bands)
	towardsCarrier(bands, loud, level)
	spreadTails(bands, loud, level)
	hidden := 0.0 // amplitude noise times frequency that may go on unseen above a stretch: 1/f
	for i := range bands {
		b := &bands[i]
		b.unknown, b.other, b.loud = 0, 0, loud[i]
		if !b.loud {
			b.folded(level, kappa)
			half := min(hidden/b.low, b.additive) / 2
			b.additive, b.unknown = b.additive-half, b.unknown+half
			continue
		}
		b.additive = min(level, b.pm)
		b.unknown = b.additive
		hidden = min(level, b.am) * (b.seen() - 1) * b.high
	}
}

// words is the power of the rounding of words of 32 bits, (2⁻³¹)²/12, below which nothing is noise of a converter. A tone below full scale has
// more of it.
const words = 1.8e-20

// louder marks the stretches of bands from … to − 1 in which amplitude exceeds phase by more than chance, the most striking first. Beside
// a density of least either is nothing.
func louder(bands []noiseBand, loud []bool, least float64, from, to int) {
	best, first, last := beyondChance, -1, -1
	for i := from; i < to; i++ {
		sum, variance := 0.0, 0.0
		for j := i; j < to; j++ {
			// The logarithm of the mean of n exponential values has a variance of 1/n + 1/2n²; weighted by n.
			n := bands[j].independent()
			sum += n * math.Log((bands[j].am+least)/(bands[j].pm+least))
			variance += 2*n + 1
			if z := sum / math.Sqrt(variance); z > best {
				best, first, last = z, i, j
			}
		}
	}
	if first < 0 {
		return
	}
	for i := first; i <= last; i++ {
		loud[i] = true
	}
	louder(bands, loud, least, from, first)
	louder(bands, loud, least, last+1, to)
}

// towardsCarrier marks the bands from the lowest on in which amplitude, though it does not exceed phase, stands above the quietest octave by more
// than chance. Additive noise knows no carrier to rise towards, and jitter that folds back comes from higher frequencies than the band's:
// it is least there.
func towardsCarrier(bands []noiseBand, loud []bool, level float64) {
	best, last := beyondChance, -1
	sum, variance := 0.0, 0.0
	for i, b := range bands {
		n := b.independent()
		sum += n * math.Log(b.am/(rise*level+nothing*b.pm))
		if sum < 0 {
			break // it begins to rise farther out
		}
		variance += 2*n + 1
		if z := sum / math.Sqrt(variance); z > best {
			best, last = z, i
		}
	}
	for i := range last + 1 {
		loud[i] = true
	}
}

// spreadTails adds to each stretch the bands beside it whose amplitude still stands above the additive noise.
func spreadTails(bands []noiseBand, loud []bool, level float64) {
	for i := 1; i < len(bands); i++ {
		loud[i] = loud[i] || loud[i-1] && bands[i].rises(level)
	}
	for i := len(bands) - 2; i >= 0; i-- {
		loud[i] = loud[i] || loud[i+1] && bands[i].rises(level)
	}
}

// rises reports whether the amplitude stands above the additive noise.
func (n noiseBand) rises(level float64) bool {
	return n.am > level*n.seen()
}

// seen is how many times the additive noise the amplitude must be to show that it is more.
func (n noiseBand) seen() float64 { return max(tail, 1+tailErrors/math.Sqrt(n.independent())) }

// quietest returns the least noise of an octave, of amplitude or phase: +Inf where none tells it.
func quietest(bands []noiseBand) float64 {
	least := math.Inf(1)
	for i := range max(0, len(bands)-octave+1) {
		am, pm, count := 0.0, 0.0, 0.0
		for _, b := range bands[i : i+octave] {
			n := b.independent()
			am, pm, count = am+n*b.am, pm+n*b.pm, count+n
		}
		if count >= telling {
			least = min(least, am/count, pm/count)
		}
	}
	return least
}

// amplitudeNoise says in which stretches amplitude exceeds phase.
func amplitudeNoise(channel int, bands []noiseBand) []measure.Warning {
	var stretches []string
	low := math.NaN()
	for i := 0; i < len(bands); i++ {
		from := i
		for i < len(bands) && bands[i].loud {
			i++
		}
		if i > from {
			if stretches == nil {
				low = bands[from].low
			}
			stretches = append(stretches, fmt.Sprintf("%.0f to %.0f Hz", bands[from].low, bands[i-1].high))
		}
	}
	if stretches == nil {
		return nil
	}
	return []measure.Warning{measure.Warningf(AmplitudeNoise, "channel %d has amplitude noise beyond additive noise from %s: how much of the phase noise there is additive is "+
		"uncertain, which the errors and limits of the random jitter allow for", channel, strings.Join(stretches, ", ")).In(channel).Of(low, "Hz")}
}
