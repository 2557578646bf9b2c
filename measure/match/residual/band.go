package residual

import (
	"math"
	"math/cmplx"

	"heardiff/measure/match/audible"
	"heardiff/playback/pcm"
)

// BlockGain is the levels of B against A in one block, in dB, NaN where noise hides them.
type BlockGain struct {
	At int
	DB [][]float64 // [channel][third octave]
}

const (
	// BandHz is the width of the bands in which the course of a recording's spectrum is kept.
	BandHz = 500.0
	// clearBand is the share of noise up to which a band has a level: if all of it were A's own, the level would be
	// 0.02 dB too low.
	clearBand = 0.005
	// leastBins are needed to distinguish noise from a level. A judgement, no source; TestABandHasALevelWhereNoiseIsLittle holds it.
	leastBins = 8
	// lowestThird and highestThird are the bands from 20 Hz to 20 kHz, by their number from 1 kHz. ref: IEC 61260-1 (from memory).
	lowestThird, highestThird = -17, 13
)

// levelDB returns the level, in dB relative to a, of the part of a − rem that one gain and phase make of a.
func levelDB(a, rem []complex128) float64 {
	var aa, rr float64
	var ar complex128
	for k, z := range a {
		aa += squared(z)
		rr += squared(rem[k])
		ar += cmplx.Conj(z) * rem[k]
	}
	noise := rr - squared(ar)/aa
	if len(a) < leastBins || !(noise < clearBand*aa) {
		return math.NaN()
	}
	h := ar / complex(aa, 0)
	return pcm.DB(math.Hypot(1-real(h), imag(h)))
}

// followedBands returns the bands whose levels are kept block by block: third octaves, then bands of 500 Hz, see bandLimit.
func followedBands(rate pcm.Rate) []Band {
	out := ThirdOctaves(rate)
	for low := 0.0; low+BandHz <= audible.Edge(rate); low += BandHz {
		out = append(out, Band{low, low + BandHz, math.NaN()})
	}
	return out
}

// ThirdOctaves returns the bands of the response that lie below the band edge, by their place in the standard's series.
func ThirdOctaves(rate pcm.Rate) []Band {
	var out []Band
	for i := lowestThird; i <= highestThird; i++ {
		centre := 1000 * math.Pow(10, float64(i)/10)
		lo, hi := centre*math.Pow(10, -0.05), centre*math.Pow(10, 0.05)
		if lo >= audible.Edge(rate) {
			break
		}
		out = append(out, Band{lo, hi, math.NaN()})
	}
	return out
}

// Band is a level in a band of frequencies.
type Band struct {
	LowHz  float64 `json:"low_hz"`
	HighHz float64 `json:"high_hz"`
	DB     float64 `json:"db"`
}
