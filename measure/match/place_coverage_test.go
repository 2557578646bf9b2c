package match_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// The truth lies within two stated errors of offset, drift and gain in 95 ± 3 of 100 pairs, over noises, their shares in A and B, lengths,
// and music from bright to dull. More than six errors are a fault whatever the rest does.
func TestTwoErrorsOfOffsetDriftAndGainHoldTheTruth(t *testing.T) {
	const rate = 8000
	pairs, lengths := 3, []float64{6}
	if *full {
		pairs, lengths = 30, []float64{6, 12}
	}
	within, all := map[string]int{}, 0
	random := rand.New(rand.NewPCG(4, 15))
	for i := range pairs {
		for _, seconds := range lengths {
			for _, db := range []float64{-50, -65, -80} {
				share := []float64{1, 0.1, 10}[i%3]
				w := way{offset: 40 * random.NormFloat64(), drift: 30e-6 * random.NormFloat64(), gain: pcm.Ratio(6 * (random.Float64() - 0.5)), seed: random.Uint64(),
					noise: pcm.RMSOf(db)}
				m := newMusic(random.Uint64(), seconds, []float64{3500, 2200}[i%2])
				a := way{noise: share * w.noise, seed: random.Uint64()}.finish(m.capture(rate, int(seconds*rate), way{}))
				r, err := match.Compare(a, m.capture(rate, int(seconds*rate), w))
				if err != nil {
					t.Fatal(err)
				}
				all++
				for _, f := range []struct {
					name    string
					off, se float64
				}{
					{"offset", r.OffsetSamples - w.offset, r.StandardErrors.OffsetSamples},
					{"drift", r.DriftPPM - 1e6*w.drift, r.StandardErrors.DriftPPM},
					{"gain", r.GainDB - pcm.DB(w.gain), r.StandardErrors.GainDB},
				} {
					z := math.Abs(f.off) / f.se
					if z <= 2 {
						within[f.name]++
					}
					if !(z < 6) {
						t.Errorf("%v dBFS in %v s, %v of it in A: %s off by %.1f errors", db, seconds, share, f.name, z)
					}
				}
			}
		}
	}
	for name, n := range within {
		part := float64(n) / float64(all)
		t.Logf("%s: two errors hold %.1f %% of %d", name, 100*part, all)
		if math.Abs(part-0.95) > 0.03+3*math.Sqrt(0.95*0.05/float64(all)) {
			t.Errorf("%s: two errors hold %.1f %% of %d", name, 100*part, all)
		}
	}
}
