package measure

import (
	"math"

	"heardiff/playback/pcm"
)

// AWeightDB returns the A-weighting of IEC 61672-1 at frequency f in Hz, in dB, 0 at 1 kHz.
//   - AWeightDB(0) = −Inf
//
// The pole frequencies follow from the standard's fL = 10^1.5, fH = 10^3.9, fA = 10^2.45 and D = √½; they are
// kept to full precision because the rounded ones (20.6, 107.7, 737.9, 12194) miss the table's last digit.
func AWeightDB(f float64) float64 { return pcm.DB(aResponse(f) / aResponse(1000)) }

func aResponse(f float64) float64 {
	const f1, f2, f3, f4 = 20.598997057618316, 107.65264864304629, 737.8622307362901, 12194.217147998012
	s := f * f
	return f4 * f4 * s * s / ((s + f1*f1) * math.Sqrt((s+f2*f2)*(s+f3*f3)) * (s + f4*f4))
}

// CCIRWeightDB returns the CCIR-RMS weighting at frequency f in Hz, in dB: the curve of ITU-R BS.468, shifted
// to 0 dB at 2 kHz and meant for an RMS meter, as AES17 uses it.
//   - CCIRWeightDB(0) = −Inf
func CCIRWeightDB(f float64) float64 { return BS468WeightDB(f) - BS468WeightDB(2000) }

// BS468WeightDB returns the weighting of ITU-R BS.468 at frequency f in Hz, in dB, 0 at 1 kHz (within 0.01 dB).
//   - BS468WeightDB(0) = −Inf
//
// It is the response of the Recommendation's network as a polynomial, within 0.05 dB of its table 1.
func BS468WeightDB(f float64) float64 {
	s := f * f
	h1 := ((-4.737338981378384e-24*s+2.043828333606125e-15)*s-1.363894795463638e-7)*s + 1
	h2 := ((1.306612257412824e-19*s-2.118150887518656e-11)*s + 5.559488023498642e-4) * f
	return 18.246265 + pcm.DB(1.246332637532143e-4*f/math.Hypot(h1, h2))
}
