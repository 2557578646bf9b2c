package tone_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/signal"
	"heardiff/playback/pcm"
)

// noisySweep is a sweep at −6 dBFS through a wire, in white noise.
func noisySweep(rate pcm.Rate, seconds, noise float64, seed uint64) pcm.Clip {
	shape := signal.NewSweepShape(rate, int(seconds*rate.Hz()))
	c := pcm.NewClip(rate, 1, int((seconds+1)*rate.Hz()))
	random := rand.New(rand.NewPCG(seed, 15))
	for i := range c.Channels[0] {
		c.Channels[0][i] = pcm.Ratio(-6)*shape.At(float64(i)/rate.Hz()-0.5) + noise*random.NormFloat64()
	}
	return c
}

// share counts what was within.
type share struct{ within, all float64 }

func (s *share) add(within bool) {
	s.all++
	if within {
		s.within++
	}
}

// Noise stays below the limits of a sweep's harmonics 95 times in 100, by frequency and over all, and two standard errors of the response hold the truth
// as often: over rates, lengths and noises. The points of one response share the error at 1 kHz: its captures count, not its points.
func TestNoiseReachesTheLimitsOfASweepOnceInTwentyTimes(t *testing.T) {
	rates, lengths, noises, seeds := []pcm.Rate{8000}, []float64{10}, []float64{1e-4}, 4
	if *full {
		rates, lengths, noises, seeds = []pcm.Rate{8000, 22050}, []float64{10, 30}, []float64{1e-5, 1e-4, 1e-2}, 8
	}
	captures := 0
	seen := map[string]*share{"points of harmonics": {}, "points below 60 Hz": {}, "harmonics": {}, "response": {}}
	for _, rate := range rates {
		for _, seconds := range lengths {
			for _, noise := range noises {
				for range seeds {
					captures++
					ch := measureSweep(t, noisySweep(rate, seconds, noise, uint64(captures))).Channel[0]
					for _, h := range ch.Harmonics {
						seen["harmonics"].add(h.DB <= h.LimitDB)
						for _, p := range h.Response {
							name := "points of harmonics"
							if p.Hz < 60 {
								name = "points below 60 Hz"
							}
							if !math.IsNaN(p.DB) {
								seen[name].add(p.DB <= p.LimitDB)
							}
						}
					}
					for _, p := range ch.Response {
						if p.DB != 0 { // as at 1 kHz
							seen["response"].add(math.Abs(p.DB) <= 2*p.SEDB)
						}
					}
				}
			}
		}
	}
	for name, s := range seen {
		part, count := s.within/s.all, s.all
		if name == "response" {
			count = float64(captures)
		}
		t.Logf("%-20s %5.1f %% of %v", name, 100*part, s.all)
		chance := 3 * math.Sqrt(0.95*0.05/count)
		if part < 0.92-chance || part > 0.98+chance && *full {
			t.Errorf("%s: %.1f %% of %v, want 95 ± 3", name, 100*part, s.all)
		}
	}
}
