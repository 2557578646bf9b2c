package measure

import (
	"math"

	"heardiff/playback/pcm"
)

// biquad is a second-order section in direct form II, transposed: small rounding noise at low frequencies.
type biquad struct {
	b0, b1, b2, a1, a2 float64
	z1, z2             float64
}

// kFilter is the K-weighting of one channel: a shelf for the head and a high-pass. ITU-R BS.1770 prints coefficients for 48 kHz only; these
// are derived from the analogue prototypes that give the printed ones to 1e-14 (a test compares them).
// The constants come from memory of common practice; the agreement with the printed table is their proof.
type kFilter struct{ shelf, highPass biquad }

func kShelf(rate float64) biquad {
	const f0, gainDB, q, bend = 1681.974450955533, 3.999843853973347, 0.7071752369554196, 0.4996667741545416
	k := math.Tan(math.Pi * f0 / rate)
	vh := pcm.Ratio(gainDB)
	vb := math.Pow(vh, bend)
	a0 := 1 + k/q + k*k
	return biquad{
		b0: (vh + vb*k/q + k*k) / a0, b1: 2 * (k*k - vh) / a0, b2: (vh - vb*k/q + k*k) / a0,
		a1: 2 * (k*k - 1) / a0, a2: (1 - k/q + k*k) / a0,
	}
}

func kHighPass(rate float64) biquad {
	const f0, q = 38.13547087602444, 0.5003270373238773
	k := math.Tan(math.Pi * f0 / rate)
	a0 := 1 + k/q + k*k
	// The printed numerator 1, −2, 1 is not divided by a0, which makes a gain of 1.005 at high frequencies part of the
	// definition. It is kept the same at every rate; kept undivided there, 192 kHz would read 0.03 dB low.
	k48 := math.Tan(math.Pi * f0 / 48000)
	g := (1 + k48/q + k48*k48) / a0
	return biquad{b0: g, b1: -2 * g, b2: g, a1: 2 * (k*k - 1) / a0, a2: (1 - k/q + k*k) / a0}
}

// energy filters x and returns the sum of squares of the result.
func (f *kFilter) energy(x []float64) float64 {
	s, h, sum := f.shelf, f.highPass, 0.0
	// The states are local variables, so that the compiler keeps them in registers.
	s1, s2, h1, h2 := s.z1, s.z2, h.z1, h.z2
	sb0, sb1, sb2, sa1, sa2 := s.b0, s.b1, s.b2, s.a1, s.a2
	hb0, hb1, hb2, ha1, ha2 := h.b0, h.b1, h.b2, h.a1, h.a2
	for _, v := range x {
		y := sb0*v + s1
		s1 = sb1*v - sa1*y + s2
		s2 = sb2*v - sa2*y
		w := hb0*y + h1
		h1 = hb1*y - ha1*w + h2
		h2 = hb2*y - ha2*w
		sum += w * w
	}
	f.shelf.z1, f.shelf.z2, f.highPass.z1, f.highPass.z2 = s1, s2, h1, h2
	return sum
}
