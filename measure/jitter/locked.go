package jitter

import (
	"fmt"
	"math"

	"heardiff/measure/spectrum"
)

// Jitter faster than rate/2 − f₀ folds back. At a carrier of rate/4 its two sidebands come to lie as far above the carrier as below it, so
// that it is phase modulation, cos² 2φ of it, or amplitude modulation, sin² 2φ, φ being the angle at which the samples take the carrier.
// That angle turns where the clocks differ, and the folded part is then equal in both and cancels as additive noise does. Over x periods of
// slide some sin(4πx)/(4πx) of it are left over, 7 % at most beyond one period. What is left, κ, is the mean of cos 4φ: −1 where all that
// folds is amplitude, 1 where all is phase.

const (
	// leftOver is the |κ| from which on clocks count as one. Less is allowed for as well: where noise is low, a κ of 0.01 is several errors.
	leftOver = 0.13
	// halfAmplitude is the κ below which jitter that folds is told by the amplitude.
	halfAmplitude = -0.5
)

// meanAngle returns the mean of cos 4φ over a block of so many samples of a sine, from the sums of their squares and of their fourth
// powers: sin⁴φ = 3/8 − (cos 2φ)/2 + (cos 4φ)/8, and cos 2φ is 0 on average at any frequency but 0 and rate/2.
func meanAngle(squares, fourth float64, count int) float64 {
	if squares == 0 {
		return 0
	}
	return max(-1, min(2*fourth*float64(count)/(squares*squares)-3, 1))
}

// inPhase returns κ of a channel over the records that were measured, weighed as their window weighs power.
func (m *measurement) inPhase(channel int) float64 {
	s := m.stretch
	length := float64(s.to-s.from) / float64(m.records) // frames of a record
	window := spectrum.Tukey(taper)
	sum, weight := 0.0, 0.0
	for i := max(0, s.from/s.block); i < min(len(s.angle[channel]), s.to/s.block); i++ {
		_, at := math.Modf((float64(i*s.block-s.from) + float64(s.block)/2) / length)
		w := window.At(at)
		sum, weight = sum+w*w*s.angle[channel][i], weight+w*w
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}

// folds reports whether jitter that folds does not cancel.
func folds(kappa float64) bool { return math.Abs(kappa) > leftOver }

// lockedWarning says what locked clocks mean for the figures, "" where they are not, or in an exact digital signal.
func (m *measurement) lockedWarning() string {
	for _, c := range m.toned {
		kappa := m.inPhase(c)
		if folds(kappa) && sum(m.channels[c].bands, 0, math.Inf(1)).pm > rounded {
			return fmt.Sprintf("the carrier hardly slides against the recorder's samples: of timing errors faster than %.0f Hz, which fold back, %.0f %% "+
				"show in the phase and the rest in the amplitude, which else tells additive noise; the errors and limits of the random jitter "+
				"allow for it; record with a clock of its own to know", m.reader.Format().Rate.Hz()/2-m.carrierHz, 50*(1+kappa))
		}
	}
	return ""
}

// folded fills in what additive noise takes off the phase of a band into which jitter may have folded, and how far the rest may be wrong.
// With F the power that folds, N the additive noise and J the jitter of the band, phase is J + N + F·(1+κ)/2 and amplitude N + F·(1−κ)/2:
// their difference is J + κF.
//
// F is taken to be no more than J, for jitter to have no higher density above rate/2 − f₀ than below (a judgement, no source). Where κ is
// so negative that this bounds little, amplitude that rises above the quietest octave is taken for F, for N is much the same at all
// frequencies; yet all of it may be either.
func (n *noiseBand) folded(level, kappa float64) {
	n.additive = n.am
	if kappa > halfAmplitude {
		n.other = math.Abs(kappa) / (1 + kappa) * max(0, n.pm-n.am)
		return
	}
	if !n.rises(level) {
		level = n.am
	}
	both := (1 + kappa) / (1 - kappa) // of F, the phase's share over the amplitude's
	n.additive = level + both*(n.am-level)
	n.unknown = (1 - both) * max(n.am-level, level)
}
