package match_test

import (
	"math"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// The truth lies within two stated errors of the response in 95 ± 3 of 100 bands, whatever the noise, and whichever capture
// holds it. The true difference is nil by construction: both captures hold the same samples. -full repeats the grid and requires
// it at every level of noise.
func TestTwoErrorsOfTheResponseHoldTheTruth(t *testing.T) {
	const rate, seconds = 24000, 8
	pieces := []pcm.Clip{
		newMusic(61, seconds, 10000).capture(rate, rate*seconds, way{}),
		newMusic(62, seconds, 3000).capture(rate, rate*seconds, way{}),
		dull(rate*seconds, 3),
	}
	shares, seeds := [][2]float64{{1, 1}, {0.1, 1}}, 1
	if *full {
		shares, seeds = [][2]float64{{1, 1}, {0.1, 1}, {1, 0.1}, {1, 0.5}}, 4
	}
	var all, held int
	seed := uint64(0)
	for _, db := range []float64{-60, -70, -80, -90, -100} {
		var judged, within int
		for i := range len(pieces) * len(shares) * seeds {
			share := shares[i/len(pieces)%len(shares)]
			seed += 2
			a := way{noise: share[0] * pcm.Ratio(db), seed: seed}.finish(pieces[i%len(pieces)].Clone())
			b := way{noise: share[1] * pcm.Ratio(db), seed: seed + 1}.finish(pieces[i%len(pieces)].Clone())
			bands, err := match.ResponseOf(a, b)
			if err != nil {
				t.Fatal(err)
			}
			for _, band := range bands {
				if math.IsNaN(band.DB) {
					continue
				}
				judged++
				if math.Abs(band.DB) <= 2*band.StandardErrorDB {
					within++
				}
			}
		}
		t.Logf("%.0f dBFS: %.1f %% of %d bands", db, 100*float64(within)/float64(judged), judged)
		if part := float64(within) / float64(judged); *full && math.Abs(part-0.95) > 0.03 {
			t.Errorf("noise at %.0f dBFS: two errors hold %.1f %% of %d bands", db, 100*part, judged)
		}
		all, held = all+judged, held+within
	}
	if part := float64(held) / float64(all); math.Abs(part-0.95) > 0.03 || all < 600 {
		t.Errorf("two errors hold %.1f %% of %d bands", 100*part, all)
	}
}
