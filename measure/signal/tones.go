package signal

import (
	"math"

	"heardiff/playback/pcm"
)

// ToneHz is the frequency of the tone signals. 997 is prime: at 44.1 and 48 kHz no sample repeats in a second.
const ToneHz = 997.0

func (p Pair) hz() []float64 {
	if p == LowPair {
		return []float64{60, 7000}
	}
	return []float64{18000, 20000}
}

// parts returns the amplitudes of the two tones as parts of the peak.
func (p Pair) parts() []float64 {
	if p == LowPair {
		return []float64{0.8, 0.2}
	}
	return []float64{0.5, 0.5}
}

// sines returns a generator of a sum of sines of the given peaks, all zero and rising at frame 0.
func sines(rate pcm.Rate, hz, peaks []float64) func(dst []float64, channel, from int) {
	return func(dst []float64, _, from int) {
		clear(dst)
		for k, f := range hz {
			for i := range dst {
				// The frame times an integer frequency is exact, and so is its remainder: the phase is as good
				// in the last second of a day as in the first.
				cycles := math.Mod(f*float64(from+i), rate.Hz()) / rate.Hz()
				dst[i] += peaks[k] * math.Sin(2*math.Pi*cycles)
			}
		}
	}
}

// jitterPeriod is the period of the jitter signal in frames.
const jitterPeriod = 192

// jitterWords returns the generator of the jitter signal: in 24 bits C00000 C00000 400000 400000 hexadecimal,
// 24 times, then each less one, 24 times; in 16 bits C000 C000 4000 4000 alike. The 192 samples of a period fit
// the 192 frames of a channel-status block of the two-channel interface.
//
// ref: J. Dunn, the J-test signal, as quoted in public descriptions of it; the 16-bit form by the same rule.
func jitterWords(bits int) func(dst []float64, channel, from int) {
	scale := math.Ldexp(1, bits-1)
	return func(dst []float64, _, from int) {
		for i := range dst {
			at := (from + i) % jitterPeriod
			v := []float64{-0.5, -0.5, 0.5, 0.5}[at%4]
			if at >= jitterPeriod/2 {
				v -= 1 / scale
			}
			dst[i] = v
		}
	}
}
