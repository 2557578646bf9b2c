package jitter

import (
	"heardiff/playback/pcm"
	"math"
	"math/cmplx"
)

// period is the length of the jitter signal in samples: 24 repeats of its tone, of tonePeriod, then 24 one step lower.
const period, tonePeriod = 192, 4

// inherentPM returns the peak phase modulation in radians that the jitter signal of a word length has of itself
// at an offset of step·rate/192 from its carrier. It is 0 at even steps.
//
// The signal (J. Dunn): words −q −q +q +q, q = 2^(bits−2), 24 times; then each one lower, 24 times.
func inherentPM(bits, step int) float64 {
	carrier := signalBin(bits, period/tonePeriod)
	u := signalBin(bits, period/tonePeriod+step) / carrier
	l := signalBin(bits, period/tonePeriod-step) / carrier
	return cmplx.Abs(u - cmplx.Conj(l))
}

// signalBin returns bin k of the transform of one period, by its definition.
func signalBin(bits, k int) complex128 {
	q := math.Ldexp(1, bits-2)
	var sum complex128
	for i := range period {
		v := q
		if i%tonePeriod < tonePeriod/2 {
			v = -q
		}
		if i >= period/2 {
			v--
		}
		sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*float64(i*k%period)/period))
	}
	return sum
}

// Of the lines that a signal of 16 bits has of itself so many, each so near in level, show that it is such a signal (judgement, no source;
// TestTheSignalsOwnLinesAreInherent holds the first).
const ownLines, ownWithinDB = 6, 0.5

// testSignal is the jitter signal as a capture shows it.
type testSignal struct {
	bits      int
	carrierHz float64
	withinHz  float64 // how far a line may be from where the signal has one
	known     bool    // the carrier is a quarter of an expected rate
}

// shorterWords counts the lines, one of each group, that belong to the jitter signal of 16 bits, while the signal of 24 bits is taken off.
func (s testSignal) shorterWords(groups [][]component) int {
	if s.bits != 24 || !s.known {
		return 0
	}
	const shorter = 16 // bits
	own := 0
	for _, g := range groups {
		step, odd := s.step(g[0].hz)
		if odd && math.Abs(pcm.DB(g[0].beta/inherentPM(shorter, step))) < ownWithinDB {
			own++
		}
	}
	return own
}

// step returns which multiple of 1/192 of the signal's rate an offset is, and whether it is an odd one, where the signal has lines of
// its own.
func (s testSignal) step(hz float64) (step int, odd bool) {
	spacing := tonePeriod * s.carrierHz / period // the rate as the recorder's clock sees it, over 192
	step = int(math.Round(hz / spacing))
	known := s.known && math.Abs(hz-float64(step)*spacing) <= s.withinHz
	return step, known && step%2 == 1 && step < period/tonePeriod
}
