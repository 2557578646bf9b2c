package jitter

import (
	"fmt"
	"math"
	"slices"
)

// Jitter faster than rate/2 − f₀ folds back. At a carrier of rate/4 its two sidebands come to lie as far above the carrier as below it, so
// that it is phase or amplitude modulation, cos² and sin² of the angle at which the samples take the carrier. That angle turns
// where the clocks differ, and the folded part is then equal in both and cancels as additive noise does. Over x periods of
// slide some sin(2πx)/(2πx) of it are left over, 13 % at most beyond one period.

// lockedPeriods is the slide of the carrier against the samples, in periods, below which the clocks count as one.
const lockedPeriods = 1

// slide returns by how many periods the carrier moves against the samples of a rate four times its own in the whole capture.
func (m *measurement) slide() float64 {
	return math.Abs(m.carrierHz-m.reader.Format().Rate.Hz()/4) * m.recordSeconds * float64(m.records)
}

// locked reports whether folded jitter does not cancel.
func (m *measurement) locked() bool { return m.slide() < lockedPeriods }

// lockedWarning says what locked clocks mean for the figures, "" where they are not, or in an exact digital signal.
func (m *measurement) lockedWarning() string {
	noisy := slices.ContainsFunc(m.toned, func(c int) bool { return sum(m.channels[c].bands, 0, math.Inf(1)).pm > rounded })
	if !noisy || !m.locked() {
		return ""
	}
	return fmt.Sprintf("the carrier slides by only %.2f periods against the recorder's samples: timing errors faster than %.0f Hz fold "+
		"back as phase alone or as amplitude alone, and the random jitter may be anything up to the phase noise",
		m.slide(), m.reader.Format().Rate.Hz()/2-m.carrierHz)
}

// bound returns the 95 % upper bound of random jitter in radians. With locked clocks the amplitude may hold nothing but folded jitter.
func (m *measurement) bound(s noiseSum) float64 {
	if m.locked() {
		s = noiseSum{pm: s.pm, variancePM: s.variancePM}
	}
	return s.bound()
}
