package signal

import (
	"math"
	"math/rand/v2"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/cmplxs"
)

// mix returns 64 random bits for a channel and frame: the finaliser of the SplitMix64 generator over a counter,
// so that any stretch can be made without what went before.
//
// ref: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
func mix(seed uint64, channel, frame int) uint64 {
	z := seed + (uint64(frame)*pcm.MaxChannels+uint64(channel)+1)*0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// SyncFrames is how many frames the sync mark at the beginning of the Integrity signal lasts.
const SyncFrames = 64

// randomWords returns the generator of the Integrity signal: words of which every bit is random, different in
// each channel, after a sync mark of SyncFrames frames at half scale: the signs of mix(0, 0, frame), the
// same in every channel. Amplitude, polarity and channels of the received words can thus all be determined.
func randomWords(bits int, seed uint64) func(dst []float64, channel, from int) {
	scale := math.Ldexp(1, bits-1)
	return func(dst []float64, channel, from int) {
		for i := range dst {
			if from+i < SyncFrames {
				dst[i] = 0.5
				if int64(mix(0, 0, from+i)) < 0 {
					dst[i] = -0.5
				}
				continue
			}
			word := int64(mix(seed, channel, from+i)) >> (64 - bits) // the sign comes along
			dst[i] = float64(word) / scale
		}
	}
}

// pinkLowHz and pinkHighHz bound the Level signal: the audible band.
const pinkLowHz, pinkHighHz = 20, 20_000

// pinkNoise returns the generator of the Level signal: Gaussian noise that falls by 3 dB an octave from pinkLowHz to
// pinkHighHz and holds nothing outside, the same in all channels, so that it seems to come from the middle between two loudspeakers. It
// begins with a fade of two seconds, because nobody has set the level yet; it repeats after eleven seconds at 48 kHz.
func pinkNoise(rate pcm.Rate, frames int, seed uint64, rms float64) func(dst []float64, channel, from int) {
	loop := pinkLoop(rate, seed, rms)
	fade := rate.Hz() * 2
	return func(dst []float64, _, from int) {
		for i := range dst {
			v := loop[(from+i)%len(loop)]
			// Also at the end, shorter, so that it stops without a click.
			edge := min(float64(from+i)/fade, float64(frames-1-from-i)/(fade/20), 1)
			dst[i] = v * (1 - math.Cos(math.Pi*edge)) / 2
		}
	}
}

func pinkLoop(rate pcm.Rate, seed uint64, rms float64) []float64 {
	n := spectrum.PowerOfTwo(int(rate.Hz() * 8))
	random := rand.New(rand.NewPCG(seed, 0x70696e6b))
	bins := make([]complex128, n/2+1)
	power := 0.0
	for k := range bins {
		f := float64(k) * rate.Hz() / float64(n)
		re, im := random.NormFloat64(), random.NormFloat64()
		if f < pinkLowHz || f > pinkHighHz || k == n/2 {
			continue
		}
		bins[k] = complex(re, im) * complex(1/math.Sqrt(f), 0)
		power += 2 * (real(bins[k])*real(bins[k]) + imag(bins[k])*imag(bins[k]))
	}
	// Parseval: the mean square of the inverse is Σ|X|²/n², both halves of the spectrum counted.
	scale := complex(rms*float64(n)/math.Sqrt(power), 0)
	cmplxs.Scale(scale, bins)
	return spectrum.NewPlan(n).Inverse(nil, bins)
}
