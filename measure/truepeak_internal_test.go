package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/playback/pcm"
)

// everyPeak evaluates each phase around every sample: the definition, with nothing skipped.
func everyPeak(m *TruePeakMeter, x []float64) float64 {
	padded := append(make([]float64, peakTaps-1), append(x, make([]float64, peakTaps)...)...)
	peak := 0.0
	for i := range len(padded) - peakTaps + 1 {
		for _, h := range m.phases {
			sum := 0.0
			for k, v := range h {
				sum += v * padded[i+k]
			}
			peak = max(peak, math.Abs(sum))
		}
		peak = max(peak, math.Abs(padded[i]))
	}
	return peak
}

// Signals whose peak lies between samples that are no peak themselves: noise; words of one magnitude, signs at random; and the
// signs of a phase, which reach Σ|h| between samples, after a click that hides whatever the bound gives up.
func TestWhatIsPassedOverHoldsNoPeak(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	signal := map[string]func(n int, h []float64) []float64{
		"noise": func(n int, _ []float64) []float64 { return drawn(n, random.NormFloat64) },
		"signs": func(n int, _ []float64) []float64 {
			return drawn(n, func() float64 { return math.Copysign(1, random.Float64()-0.5) })
		},
		"falling spectrum": func(n int, _ []float64) []float64 {
			last := 0.0
			return drawn(n, func() float64 { last = 0.9*last + random.NormFloat64(); return last })
		},
		"signs of a phase": func(n int, h []float64) []float64 {
			x := drawn(n, func() float64 { return 0.02 * random.NormFloat64() })
			x[n/8] = 0.9 + 1.8*random.Float64()
			for k, v := range h {
				x[n/2+k] = math.Copysign(1, v)
			}
			return x
		},
		"a tone at a quarter of the rate": func(n int, _ []float64) []float64 {
			i := 0.0
			return drawn(n, func() float64 { i++; return math.Cos(math.Pi/2*i + math.Pi/4) })
		},
	}
	for name, make := range signal {
		for _, rate := range []pcm.Rate{44100, 96000, 192000} {
			for range 20 {
				m := NewTruePeakMeter(pcm.Format{Rate: rate, Channels: 1, Bits: 32, Float: true})
				x := make(200+random.IntN(400), m.phases[random.IntN(len(m.phases))])
				for at := 0; at < len(x); {
					n := min(1+random.IntN(150), len(x)-at)
					m.Write([][]float64{x[at : at+n]})
					at += n
				}
				got, want := m.Reading().DBTP, pcm.DB(everyPeak(m, x))
				if math.Abs(got-want) > 1e-9 {
					t.Errorf("%s at %d Hz: %.6f dBTP, evaluated everywhere %.6f", name, rate, got, want)
				}
			}
		}
	}
}

func drawn(n int, draw func() float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = draw()
	}
	return x
}
