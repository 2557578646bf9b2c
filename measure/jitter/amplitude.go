package jitter

import "math"

// additive fills in what additive noise takes off the phase of each band, and how far that may be wrong: where there is no more of it than
// of phase, the amplitude; elsewhere the noise of the quietest octave, which may be anything from none to twice that, or all of the phase.
// For what folds back, by κ, see folded.
func additive(bands []noiseBand, kappa float64) {
	loud := make([]bool, len(bands))
	markAmplitudeNoise(bands, loud, words/(bands[len(bands)-1].high-bands[0].low), 0, len(bands))
	level := quietest(bands)
	towardsCarrier(bands, loud, level)
	spreadTails(bands, loud, level)
	hidden := 0.0 // amplitude noise times frequency that may go on unseen above a stretch: 1/f
	for i := range bands {
		b := &bands[i]
		b.unknown, b.other, b.ownAmplitude = 0, 0, loud[i]
		if !b.ownAmplitude {
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

// markAmplitudeNoise marks the stretches of bands from … to − 1 in which amplitude exceeds phase by more than chance, the most significant first. Below
// a density of least either counts for nothing.
func markAmplitudeNoise(bands []noiseBand, loud []bool, least float64, from, to int) {
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
	markAmplitudeNoise(bands, loud, least, from, first)
	markAmplitudeNoise(bands, loud, least, last+1, to)
}

// towardsCarrier marks the bands from the lowest on in which amplitude, though it does not exceed phase, exceeds the quietest octave by more
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

// spreadTails adds to each stretch the neighbouring bands whose amplitude still exceeds the additive noise.
func spreadTails(bands []noiseBand, loud []bool, level float64) {
	for i := 1; i < len(bands); i++ {
		loud[i] = loud[i] || loud[i-1] && bands[i].rises(level)
	}
	for i := len(bands) - 2; i >= 0; i-- {
		loud[i] = loud[i] || loud[i+1] && bands[i].rises(level)
	}
}

// quietest returns the least noise of an octave, of amplitude or phase: +Inf where none has enough bins.
func quietest(bands []noiseBand) float64 {
	least := math.Inf(1)
	for i := range max(0, len(bands)-octave+1) {
		am, pm, count := 0.0, 0.0, 0.0
		for _, b := range bands[i : i+octave] {
			n := b.independent()
			am, pm, count = am+n*b.am, pm+n*b.pm, count+n
		}
		if count >= leastInOctave {
			least = min(least, am/count, pm/count)
		}
	}
	return least
}
