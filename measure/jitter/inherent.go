package jitter

import (
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

// residue returns the phase modulation that the signal itself has at a line, and whether it has one there.
func (m *measurement) residue(hz float64) (radians float64, ok bool) {
	if math.IsNaN(m.signalRateHz) {
		return 0, false
	}
	spacing := 4 * m.carrierHz / period // the rate as the recorder's clock sees it, over 192
	step := int(math.Round(hz / spacing))
	if step%2 == 0 || step >= period/4 || math.Abs(hz-float64(step)*spacing) > 1/m.recordSeconds {
		return 0, false
	}
	return inherentPM(m.bits, step), true
}
