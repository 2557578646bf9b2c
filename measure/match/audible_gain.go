package match

import (
	"math"

	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// audibleSums are the sums over the blocks of two aligned clips by bin, over channels: |A|², |B|², and the real part of conj(A)·B.
type audibleSums struct {
	aa, bb, ab []float64
	lo, hi     int // bins of the audible band
}

// leastGainBlock is the shortest block, in frames, for excerpts of less than a third of a second. A judgement, no source;
// TestBlocksOfALevelFitIntoTheExcerpt holds it.
const leastGainBlock = 1024

// audibly transforms two clips of one length in blocks of about a third of a second, half overlapped. The window's side lobes are so low
// (−92 dB) that direct voltage and what is slower than 8 Hz do not reach the band.
func audibly(a, b pcm.Clip) audibleSums {
	n := spectrum.Halved(spectrum.PowerOfTwo(int(a.Rate)/3), leastGainBlock, a.Len())
	s := audibleSums{aa: make([]float64, n/2+1), bb: make([]float64, n/2+1), ab: make([]float64, n/2+1)}
	s.lo, s.hi = max(1, int(math.Ceil(audible.LowHz*float64(n)/a.Rate.Hz()))), int(audible.Edge(a.Rate)*float64(n)/a.Rate.Hz())
	plan, window := spectrum.NewPlan(n), spectrum.BlackmanHarris4().Samples(n)
	x, fa, fb := make([]float64, n), make([]complex128, n/2+1), make([]complex128, n/2+1)
	of := func(bins []complex128, part []float64) {
		plan.Forward(bins, floats.MulTo(x, window, part[:n]))
	}
	for c := range a.Channels {
		for from := 0; from+n <= a.Len(); from += n / 2 {
			of(fa, a.Channels[c][from:])
			of(fb, b.Channels[c][from:])
			for k := s.lo; k < s.hi; k++ {
				u, v := fa[k], fb[k]
				s.aa[k] += real(u)*real(u) + imag(u)*imag(u)
				s.bb[k] += real(v)*real(v) + imag(v)*imag(v)
				s.ab[k] += real(u)*real(v) + imag(u)*imag(v)
			}
		}
	}
	return s
}

const (
	// clearBin is the share of noise up to which a bin counts for the level: if all of it were A's own, the level would be 0.004 dB too low.
	clearBin = 0.001
	// clearShare is the share of A's power that clear bins must hold for them to give the level of all.
	clearShare = 0.25
)

// gain returns the factor from A to B from 20 Hz to 20 kHz, and the least and the most that it may be: least squares takes all of what the
// two do not have in common for noise of B (the least); if it is all A's, the factor is that much larger. Where enough of A
// is in bins that hold hardly any noise, these alone give it, so that the noise of A does not bias it.
func (s audibleSums) gain() (gain, least, most float64) {
	var aa, bb, ab, clearA, clearB, clear float64
	for k := s.lo; k < s.hi; k++ {
		aa, bb, ab = aa+s.aa[k], bb+s.bb[k], ab+s.ab[k]
		if s.ab[k]*s.ab[k] >= (1-clearBin)*s.aa[k]*s.bb[k] {
			clearA, clearB, clear = clearA+s.aa[k], clearB+s.bb[k], clear+s.ab[k]
		}
	}
	if clearA > clearShare*aa {
		aa, bb, ab = clearA, clearB, clear
	}
	if !(aa > 0) || ab == 0 {
		return 1, 1, 1
	}
	least, most = math.Abs(ab)/aa, bb/math.Abs(ab)
	return math.Sqrt(least * most), least, most
}
