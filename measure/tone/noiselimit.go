package tone

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"heardiff/playback/pcm"
)

// rayleigh95 is the 95 % point of the magnitude of a phasor whose two parts have unit variance: √(−2·ln 0.05).
const rayleigh95 = 2.447746830680816

// beyond95 returns the factor by which a bin of noise exceeds its RMS magnitude once in twenty times, where that is known from so many
// independent bins only: the root of the 95 % point of F with 2 and 2·n degrees of freedom, which has the closed form n·(20^(1/n) − 1).
func beyond95(independent float64) float64 {
	return math.Sqrt(independent * (math.Pow(20, 1/independent) - 1))
}

// chance95 is rayleigh95 where the standard error of the parts is known from the scatter of n stretches only.
func chance95(n int) float64 { return math.Sqrt2 * beyond95(float64(n-1)) }

// noisePower returns the power that the sum of the powers of noise phasors, each of two Gaussian parts, exceeds once in twenty times, where
// each alone reaches its limit, in dB, as often. The sum's distribution is taken for a χ² of the same mean and variance, which is exact
// where all are alike. It is a little too high where the limits allow for few stretches. NaN where a limit is NaN, or there is none.
//
// ref: F. E. Satterthwaite, "An approximate distribution of estimates of variance components", Biometrics 2, 1946 (from memory).
func noisePower(limits ...float64) float64 {
	mean, spread := 0.0, 0.0
	for _, db := range limits {
		m := 2 * pcm.Ratio(2*db) / (rayleigh95 * rayleigh95)
		mean, spread = mean+m, spread+m*m
	}
	if !(mean > 0) { // no limit, or no noise at all
		return math.NaN()
	}
	freedom := 2 * mean * mean / spread
	return mean / freedom * distuv.ChiSquared{K: freedom}.Quantile(0.95)
}

// noiseTHD returns what the noise among harmonics comes to in all, in dB, by the LimitDBC of each.
func noiseTHD(list []Harmonic) float64 {
	var limits []float64
	for _, h := range list {
		if !math.IsNaN(h.DBC) { // none beyond the band
			limits = append(limits, h.LimitDBC)
		}
	}
	return pcm.PowerDB(noisePower(limits...))
}

// twoToneNoise is what noise alone makes of intermodulation, in dB.
type twoToneNoise struct{ second, third, both float64 }

// noise returns what noise among the products that the method adds up comes to. Amplitudes are added there: (a + b)² is 2·(a² + b²) at
// the most, which is 0.7 dB too much where both are noise.
func (c TwoToneChannel) noise() twoToneNoise {
	const sameHz = 1e-6 // by which a frequency may be rounded, as a ratio
	of := func(multiples ...[2]float64) []float64 {
		var limits []float64
		for _, m := range multiples {
			hz := math.Abs(m[0]*c.LowHz + m[1]*c.HighHz)
			for _, p := range c.Products {
				if math.Abs(p.Hz-hz) < sameHz*hz && float64(p.Order) == math.Abs(m[0])+math.Abs(m[1]) {
					limits = append(limits, p.LimitDBC)
				}
			}
		}
		return limits
	}
	second, third := of([2]float64{-1, 1}), of([2]float64{-1, 2}, [2]float64{-2, 1})
	scale := pcm.Ratio(c.HighDBFS) / (pcm.Ratio(c.LowDBFS) + pcm.Ratio(c.HighDBFS))
	if c.Method == modulation {
		second, third, scale = of([2]float64{1, 1}, [2]float64{-1, 1}), of([2]float64{2, 1}, [2]float64{-2, 1}), 1
	}
	db := func(limits []float64) float64 {
		return pcm.PowerDB(float64(min(2, len(limits)))*noisePower(limits...)) + pcm.DB(scale)
	}
	return twoToneNoise{second: db(second), third: db(third), both: db(append(second, third...))}
}
