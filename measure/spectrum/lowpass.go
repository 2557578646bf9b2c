package spectrum

import (
	"math"
)

// KaiserBeta returns Kaiser's β for a stop band of −attenuationDB, which must be above 50.
//
// ref: J. F. Kaiser, "Nonrecursive digital filter design using the I₀-sinh window function", Proc. IEEE
// Int. Symp. Circuits and Systems, 1974.
func KaiserBeta(attenuationDB float64) float64 { return 0.1102 * (attenuationDB - 8.7) }

// KaiserLength returns the odd number of taps of a low-pass for a stop band of −attenuationDB and a transition of the given width, as a
// part of the rate. ref: as KaiserBeta, (A − 7.95)/(2.285·Δω) + 1.
func KaiserLength(attenuationDB, width float64) int {
	return 2*int(math.Ceil((attenuationDB-7.95)/(2.285*2*math.Pi*width)/2)) + 1
}

// LowPass returns the taps, an odd number, of a low-pass of linear phase: a sinc under Kaiser's window, with a gain of 1 at 0 Hz. The cutoff,
// in the middle of the transition, is a part of the rate.
func LowPass(length int, cutoff, attenuationDB float64) []float64 {
	taps, beta := make([]float64, length), KaiserBeta(attenuationDB)
	half := float64(length-1) / 2
	sum := 0.0
	for i := range taps {
		x := float64(i) - half
		taps[i] = BesselI0(beta * math.Sqrt(max(0, 1-x*x/(half*half))))
		if x != 0 {
			taps[i] *= math.Sin(2*math.Pi*cutoff*x) / (2 * math.Pi * cutoff * x)
		}
		sum += taps[i]
	}
	for i := range taps {
		taps[i] /= sum
	}
	return taps
}

// BesselI0 returns the modified Bessel function of the first kind and order 0, by its power series
// Σ ((x/2)^k/k!)², whose terms are all positive: full precision for every x that does not overflow (|x| < 700).
func BesselI0(x float64) float64 {
	const least = 1e-17 // of the sum: a smaller term no longer changes it
	sum, term := 1.0, 1.0
	for k := 1.0; term > least*sum; k++ {
		term *= x * x / (4 * k * k)
		sum += term
	}
	return sum
}
