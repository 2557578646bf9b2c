package jitter

import (
	"math"

	"heardiff/measure/spectrum"
)

// Jitter faster than rate/2 − f₀ folds back. At a carrier of rate/4 its two sidebands come to lie as far above the carrier as below it, so
// that it is phase modulation, cos² 2φ of it, or amplitude modulation, sin² 2φ, φ being the angle at which the samples take the carrier.
// That angle turns where the clocks differ, and the folded part is then equal in both and cancels as additive noise does. Over x periods of
// slide some sin(4πx)/(4πx) of it remain, 7 % at most beyond one period. The remainder, κ, is the mean of cos 4φ: −1 where all that
// folds is amplitude, 1 where all is phase.

const (
	// lockedKappa is the |κ| from which on clocks count as one. Less is allowed for as well: where noise is low, a κ of 0.01 is several errors.
	lockedKappa = 0.13
	// A record is made shorter where that cancels what folds, by mostTrimmed of it at the most, looked for in so many trims; not for less than
	// cancelled, which is 0.1 % of the figure.
	mostTrimmed = 0.12
	trims       = 60
	cancelled   = 0.002
	// halfAmplitude is the κ below which jitter that folds shows in the amplitude.
	halfAmplitude = -0.5
)

// sampling is at which angles the samples of a capture take the carrier: of each channel the mean of cos 4φ in each block.
type sampling struct {
	angles [][]float64
	block  int // frames
}

// note notes each channel's angle in the next block.
func (s *sampling) note(block [][]float64, _ int) {
	for c, x := range block {
		s.angles[c] = append(s.angles[c], meanAngle(x))
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

// kappa returns κ of a channel over so many records of so many frames, the first beginning at a frame, weighed as their window weighs power.
func (s sampling) kappa(channel, from, records, frames int) float64 {
	const fine = 8 // steps of a block
	angle, block := s.angles[channel], float64(s.block)
	window := spectrum.Tukey(taper)
	sum, weight := 0.0, 0.0
	for at := float64(from); at < float64(from+records*frames); at += block / fine {
		_, within := math.Modf((at - float64(from)) / float64(frames))
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
// first of the channels is 0, and of the others, whose angles differ, little.
func whereItCancels(samples int, channels []int, kappa func(channel, samples int) float64) int {
	remaining := func(samples int) float64 {
		worst := 0.0
		for _, c := range channels {
			worst = max(worst, math.Abs(kappa(c, samples)))
		}
		return worst
	}
	full := remaining(samples)
	if full < 2*cancelled || folds(full) {
		return samples
	}
	step := mostTrimmed * float64(samples) / trims
	before := kappa(channels[0], samples)
	for i := 1; i <= trims; i++ {
		k := kappa(channels[0], samples-int(float64(i)*step))
		if k*before <= 0 && k != before {
			shorter := samples - int((float64(i)-k/(k-before))*step)
			if remaining(shorter) < full/2 {
				return shorter
			}
		}
		before = k
	}
	return samples
}

// folds reports whether jitter that folds does not cancel.
func folds(kappa float64) bool { return math.Abs(kappa) > lockedKappa }

// folded fills in what additive noise takes off the phase of a band into which jitter may have folded, and how far the rest may be wrong.
// With F the power that folds, N the additive noise and J the jitter of the band, phase is J + N + F·(1+κ)/2 and amplitude N + F·(1−κ)/2:
// their difference is J + κF.
//
// F is taken to be no more than J, for jitter to have no higher density above rate/2 − f₀ than below (a judgement, no source;
// TestErrorsHoldWhatFolds). Where κ is so negative that this bounds little, amplitude that rises above the quietest octave is taken for F, for
// N is much the same at all frequencies; yet all of it may be either.
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
