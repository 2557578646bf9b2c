package jitter

import (
	"math"
	"math/cmplx"
)

// Where an amplitude is below so many standard errors of a quadrature it cannot be distinguished from noise:
// exp(−3.5²/2) = 0.2 % of noise alone exceed it.
const unseen = 3.5

// oneLineBins is how far apart, in bins of the record, a line may be found in phase and in amplitude, or in two records, and still be one:
// two lines nearer than that show as one.
const oneLineBins = 0.7

// classify separates the lines found in phase and amplitude into phase modulation, amplitude modulation and additive tones.
func classify(pm, am *lineFinder, phase, amplitude []peak) (jitter, other []component) {
	other, phase, amplitude = smeared(pm, am, phase, amplitude)
	other = append(other, pm.additive...)
	jitter, phase = pm.wandering(phase)
	moving, amplitude := am.wandering(amplitude)
	for _, t := range moving {
		other = append(other, component{hz: t.hz, m: t.beta, sideband: t.beta / 2, sidebandSE: t.betaSE / 2, skirtHz: t.skirtHz})
	}
	taken := make([]bool, len(amplitude))
	for _, p := range phase {
		a, i := counterpart(p.hz, amplitude, oneLineBins/pm.seconds)
		if i < 0 {
			a = am.at(p.hz)
		} else {
			taken[i] = true
		}
		t := toComponent(p, a)
		if t.side == 0 {
			jitter = append(jitter, t)
		}
		if t.side != 0 || i >= 0 {
			other = append(other, t)
		}
	}
	for i, a := range amplitude {
		if !taken[i] {
			other = append(other, toComponent(pm.at(a.hz), a))
		}
	}
	return jitter, other
}

// counterpart returns the line nearest to hz within reach, or index −1.
func counterpart(hz float64, lines []peak, reach float64) (peak, int) {
	best := -1
	for i, l := range lines {
		if d := math.Abs(l.hz - hz); d < reach {
			best, reach = i, d
		}
	}
	if best < 0 {
		return peak{}, -1
	}
	return lines[best], best
}

// toComponent classifies a phase line by the amplitude at its frequency, see the package comment for the rule.
func toComponent(p, a peak) component {
	upper := cmplx.Abs(a.value+1i*p.value) / 2
	lower := cmplx.Abs(a.value-1i*p.value) / 2
	t := component{hz: p.hz, beta: cmplx.Abs(p.value), m: cmplx.Abs(a.value), betaSE: p.se}
	t.sideband, t.sidebandSE = t.m/2, a.se/2
	weak, strong := min(upper, lower), max(upper, lower)
	seen := t.m > unseen*a.se && t.beta > unseen*p.se
	if seen && (weak < oneSidedRatio*strong || weak < unseen*math.Hypot(p.se, a.se)/2) {
		t.side, t.sideband, t.sidebandSE = 1, strong, math.Hypot(p.se, a.se)/2
		if lower > upper {
			t.side = -1
		}
	}
	return t
}
