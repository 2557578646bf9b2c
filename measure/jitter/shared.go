package jitter

import "math"

// common reads what the first two channels share: additive noise that is in both, or jitter folded back at half the rate,
// shows in their amplitudes as in their phases and is subtracted, as in a channel's own figure. The variance of a cross density is
// (S₁·S₂ + C²)/2.
func (m *measurement) common(channels []Channel) *Common {
	var s noiseSum
	part := m.sharedAdditive()
	for i, n := range m.cross {
		a, b := m.channels[0].bands[i], m.channels[1].bands[i]
		width, additive := n.high-n.low, math.Sqrt(a.additive*b.additive)
		if a.ownAmplitude || b.ownAmplitude {
			n.crossAM = part * additive
			s.unknown += additive * width
		} else {
			if own := math.Sqrt(a.am * b.am); own > 0 {
				n.crossAM *= additive / own
			}
			s.unknown += width * math.Sqrt(a.unknown*b.unknown)
			s.other += width * math.Sqrt(a.other*b.other)
		}
		s.pm += n.crossPM * width
		s.additive += n.crossAM * width
		s.variancePM += a.variance(math.Sqrt((a.pm*b.pm + n.crossPM*n.crossPM) / 2))
		s.varianceAdditive += a.variance(math.Sqrt((additive*additive + n.crossAM*n.crossAM) / 2))
	}
	random, se, significant := s.excess()
	c := &Common{RandomPs: m.toPs(random), SEPs: m.toPs(se), LimitPs: m.limit(s), AtFloor: !significant, Correlation: math.NaN()}
	if a, b := channels[0].RandomPs, channels[1].RandomPs; a > 0 && b > 0 {
		c.Correlation = math.Pow(m.toPs(1), 2) * (s.pm - s.additive) / (a * b)
	}
	return c
}

// sharedAdditive returns how much of the additive noise the first two channels share, where their amplitudes show it: 1 for all of it.
func (m *measurement) sharedAdditive() float64 {
	shared, both := 0.0, 0.0
	for i, n := range m.cross {
		a, b := m.channels[0].bands[i], m.channels[1].bands[i]
		if !a.ownAmplitude && !b.ownAmplitude {
			shared += n.crossAM * (n.high - n.low)
			both += math.Sqrt(a.am*b.am) * (n.high - n.low)
		}
	}
	if both == 0 {
		return 0
	}
	return shared / both
}
