package jitter

import (
	"math"

	"heardiff/measure"
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
	// A record is made shorter where that cancels what folds, by mostTrimmed of it at the most, looked for in so many trims; not for less than
	// cancelled, which is 0.1 % of the figure.
	mostTrimmed = 0.12
	trims       = 60
	cancelled   = 0.002
	// halfAmplitude is the κ below which jitter that folds is told by the amplitude.
	halfAmplitude = -0.5
)

// noteAngles notes of each channel the angle in a block of the survey.
func (m *measurement) noteAngles(block [][]float64, _ int) {
	for c, x := range block {
		m.angles[c] = append(m.angles[c], meanAngle(x))
	}
}

// meanAngle returns the mean of cos 4φ over samples of a sine, from the sums of their squares and of their fourth
// powers: sin⁴φ = 3/8 − (cos 2φ)/2 + (cos 4φ)/8, and cos 2φ is 0 on average at any frequency but 0 and rate/2.
func meanAngle(x []float64) float64 {
	squares, fourth := 0.0, 0.0
	for _, v := range x {
		squares += v * v
		fourth += v * v * v * v
	}
	if squares == 0 {
		return 0
	}
	return max(-1, min(2*fourth*float64(len(x))/(squares*squares)-3, 1))
}

// inPhase returns κ of a channel over the records that were measured.
func (m *measurement) inPhase(channel int) float64 { return m.kappa(channel, m.recordFrames) }

// kappa returns κ of a channel over records of so many frames, weighed as their window weighs power.
func (m *measurement) kappa(channel, frames int) float64 {
	const fine = 8 // steps of a block
	angle, block := m.angles[channel], float64(m.tone.Block)
	window := spectrum.Tukey(taper)
	sum, weight := 0.0, 0.0
	for at := float64(m.from); at < float64(m.from+m.records*frames); at += block / fine {
		_, within := math.Modf((at - float64(m.from)) / float64(frames))
		w := window.At(within)
		// A block's angle is that of its middle.
		i, part := math.Modf(max(0, at/block-0.5))
		k := min(int(i), len(angle)-1)
		sum += w * w * (angle[k]*(1-part) + angle[min(k+1, len(angle)-1)]*part)
		weight += w * w
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}

// whereItCancels shortens records of so many baseband samples, by a part of them that is well spent, to where what folds cancels: where κ of the
// first channel is 0, and of the others, whose angles differ, little.
func (m *measurement) whereItCancels(samples int) int {
	left := func(samples int) float64 {
		worst := 0.0
		for _, c := range m.toned {
			worst = max(worst, math.Abs(m.kappa(c, samples*m.mixer.decimation)))
		}
		return worst
	}
	whole := left(samples)
	if whole < 2*cancelled || folds(whole) {
		return samples
	}
	step := mostTrimmed * float64(samples) / trims
	before := m.kappa(m.firstTone(), samples*m.mixer.decimation)
	for i := 1; i <= trims; i++ {
		k := m.kappa(m.firstTone(), (samples-int(float64(i)*step))*m.mixer.decimation)
		if k*before <= 0 && k != before {
			shorter := samples - int((float64(i)-k/(k-before))*step)
			if left(shorter) < whole/2 {
				return shorter
			}
		}
		before = k
	}
	return samples
}

// folds reports whether jitter that folds does not cancel.
func folds(kappa float64) bool { return math.Abs(kappa) > leftOver }

// lockedWarning says what locked clocks mean for the figures, nothing where they are not, or in an exact digital signal.
func (m *measurement) lockedWarning() []measure.Warning {
	for _, c := range m.toned {
		kappa := m.inPhase(c)
		if folds(kappa) && sum(m.channels[c].bands, 0, math.Inf(1)).pm > rounded {
			return []measure.Warning{measure.Warningf(LockedClocks, "the carrier hardly slides against the recorder's samples: of timing errors faster than %.0f Hz, which fold back, %.0f %% "+
				"show in the phase and the rest in the amplitude, which else tells additive noise; the errors and limits of the random jitter "+
				"allow for it; record with a clock of its own to know", m.reader.Format().Rate.Hz()/2-m.carrierHz, 50*(1+kappa)).In(c+1).Of(50*(1+kappa), "%")}
		}
	}
	return nil
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
