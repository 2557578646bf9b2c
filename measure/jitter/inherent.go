package jitter

import (
	"heardiff/measure"
	"math"
	"math/cmplx"
)

// period is the length of the jitter signal in samples: 24 repeats of its tone, then 24 one step lower.
const period = 192

// inherentPM returns the peak phase modulation in radians that the jitter signal of a word length has of itself
// at an offset of step·rate/192 from its carrier. It is 0 at even steps.
//
// The signal (J. Dunn): words −q −q +q +q, q = 2^(bits−2), 24 times; then each one lower, 24 times.
func inherentPM(bits, step int) float64 {
	carrier := signalBin(bits, period/4)
	u := signalBin(bits, period/4+step) / carrier
	l := signalBin(bits, period/4-step) / carrier
	return cmplx.Abs(u - cmplx.Conj(l))
}

// signalBin returns bin k of the transform of one period, by its definition.
func signalBin(bits, k int) complex128 {
	q := math.Ldexp(1, bits-2)
	var sum complex128
	for i := range period {
		v := q
		if i%4 < 2 {
			v = -q
		}
		if i >= period/2 {
			v--
		}
		sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*float64(i*k%period)/period))
	}
	return sum
}

// Of the lines that a signal of 16 bits has of itself so many, each within half a decibel, show that it is such a one.
const ownLines = 6

// shorterWords warns where the lines are those of the jitter signal of 16 bits, while that of 24 is taken off.
func (m *measurement) shorterWords() []measure.Warning {
	if m.bits != 24 || math.IsNaN(m.signalRateHz) {
		return nil
	}
	for _, c := range m.channels {
		own := 0
		for _, g := range m.group(c.jitter) {
			step, odd := m.step(g[0].hz)
			if odd && math.Abs(20*math.Log10(g[0].beta/inherentPM(16, step))) < 0.5 {
				own++
			}
		}
		if own >= ownLines {
			return []measure.Warning{measure.Warningf(ShorterWords, "%d lines are those that the jitter signal of 16 bits has of itself: if that was played, measure with --bits 16", own).Of(float64(own), "lines")}
		}
	}
	return nil
}

// residue returns the phase modulation that the signal itself has at a line, and whether it has one there.
func (m *measurement) residue(hz float64) (radians float64, ok bool) {
	step, odd := m.step(hz)
	if !odd {
		return 0, false
	}
	return inherentPM(m.bits, step), true
}

// step returns which multiple of 1/192 of the signal's rate an offset is, and whether it is an odd one, where the signal has lines of
// its own.
func (m *measurement) step(hz float64) (step int, odd bool) {
	spacing := 4 * m.carrierHz / period // the rate as the recorder's clock sees it, over 192
	step = int(math.Round(hz / spacing))
	known := !math.IsNaN(m.signalRateHz) && math.Abs(hz-float64(step)*spacing) <= 1/m.recordSeconds
	return step, known && step%2 == 1 && step < period/4
}
