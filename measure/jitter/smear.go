package jitter

import (
	"math"
	"slices"
)

const (
	// smearGap is how far apart, in bins of the record, the pieces of one smeared tone may be.
	smearGap = 4
	// smearPieces is the least number of them: one line of phase and one of amplitude are judged as a pair.
	smearPieces = 3
	// skirtBins is how much farther than the pieces the tone's skirt may reach.
	skirtBins = 30
)

// smear is a stretch of the spectrum in which lines of phase and of amplitude are side by side.
type smear struct {
	phase, amplitude []peak
	last             float64 // Hz
}

// smeared finds additive tones that drift against the carrier, since their clocks differ. Such a tone is spread over several bins, and the
// pieces found in phase and in amplitude need not be at the same frequencies; but over the full stretch one of the two sidebands is
// missing, and so it is at each piece. It returns the tones, and the lines that are no part of one: a line of jitter near it has both
// sidebands.
func smeared(pm, am *lineFinder, phase, amplitude []peak) (tones []component, restPhase, restAmplitude []peak) {
	for _, s := range stretches(phase, amplitude, smearGap/pm.seconds) {
		if len(s.phase) > 0 && len(s.amplitude) > 0 && len(s.phase)+len(s.amplitude) >= smearPieces {
			if t, ok := s.additive(pm, am); ok {
				tones = append(tones, t)
			}
		}
	}
	piece := func(l peak) bool {
		k := int(math.Round(l.hz / pm.binHz))
		return slices.ContainsFunc(tones, func(t component) bool {
			return math.Abs(t.hz-l.hz) < t.skirtHz && sided(am.restored(k, amplitude), pm.restored(k, phase)) == t.side
		})
	}
	return tones, slices.DeleteFunc(slices.Clone(phase), piece), slices.DeleteFunc(slices.Clone(amplitude), piece)
}

// sided returns the side that holds all but a sixteenth of the power of amplitude a and phase p, 0 if both do.
func sided(a, p complex128) int {
	upper, lower := power(a+1i*p), power(a-1i*p)
	switch {
	case lower < oneSidedRatio*oneSidedRatio*upper:
		return 1
	case upper < oneSidedRatio*oneSidedRatio*lower:
		return -1
	}
	return 0
}

// stretches joins lines, each list sorted by frequency, that are nearer to each other than gap.
func stretches(phase, amplitude []peak, gap float64) []smear {
	var out []smear
	for len(phase) > 0 || len(amplitude) > 0 {
		ofPhase := len(amplitude) == 0 || len(phase) > 0 && phase[0].hz <= amplitude[0].hz
		next := amplitude
		if ofPhase {
			next = phase
		}
		if len(out) == 0 || next[0].hz-out[len(out)-1].last > gap {
			out = append(out, smear{})
		}
		s := &out[len(out)-1]
		s.last = next[0].hz
		if ofPhase {
			s.phase, phase = append(s.phase, phase[0]), phase[1:]
		} else {
			s.amplitude, amplitude = append(s.amplitude, amplitude[0]), amplitude[1:]
		}
	}
	return out
}

// additive reports whether one sideband holds nearly all of the stretch, and returns the tone that it is: its place
// the centroid, its level from the power, which smearing does not change.
func (s smear) additive(pm, am *lineFinder) (component, bool) {
	first := s.last
	for _, l := range slices.Concat(s.phase, s.amplitude) {
		first = min(first, l.hz)
	}
	from, _ := pm.lobe(first, 3)
	_, to := pm.lobe(s.last, 3)
	var upper, lower, upperHz, lowerHz, noise float64
	for k := from; k <= to; k++ {
		a, p := am.restored(k, s.amplitude), pm.restored(k, s.phase)
		u, l := power(a+1i*p)/4, power(a-1i*p)/4
		n := (am.noise[k] + pm.noise[k]) / 4
		hz := float64(k) * pm.binHz
		upper, upperHz = upper+u-n, upperHz+hz*(u-n)
		lower, lowerHz = lower+l-n, lowerHz+hz*(l-n)
		noise = max(noise, n)
	}
	side := 1
	if lower > upper {
		side, upper, upperHz, lower = -1, lower, lowerHz, upper
	}
	if !(lower < oneSidedRatio*oneSidedRatio*upper) {
		return component{}, false
	}
	level := math.Sqrt(upper / pm.share(from, to, s.phase, s.amplitude))
	skirt := s.last - first + skirtBins/pm.seconds
	return component{hz: upperHz / upper, side: side, sideband: level, sidebandSE: math.Sqrt(fitted * noise / 2), skirtHz: skirt}, true
}
