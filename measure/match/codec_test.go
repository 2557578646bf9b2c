package match_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"
)

// Dense music is never quiet. The error of a lossy code is then there all the time, as noise is, but swells with the music by a
// few decibels: that is warned of. Steady noise of the same level, in either capture, is not.
func TestWhatSwellsWithDenseMusicIsSaid(t *testing.T) {
	const rate, seconds = 32000, 6
	music := steady(rate, rate*seconds, 12000, way{})
	local := make([]float64, rate*seconds) // RMS over 10 ms, relative
	for from := 0; from < len(local); from += rate / 100 {
		part := math.Sqrt(meanSquare(music.Slice(from, from+rate/100)) / meanSquare(music))
		for i := range rate / 100 {
			local[from+i] = part
		}
	}
	level := math.Sqrt(meanSquare(music)) * pcm.Ratio(-24)
	with := func(noise func(i int) float64, seed uint64) pcm.Clip {
		c, r := music.Clone(), rand.New(rand.NewPCG(seed, 3))
		for _, ch := range c.Channels {
			for i := range ch {
				ch[i] += noise(i) * r.NormFloat64()
			}
		}
		return c
	}
	plain := func(int) float64 { return level / 1000 }
	loud := func(int) float64 { return level }
	for _, c := range []struct {
		name string
		a, b func(int) float64
		said bool
	}{
		{"left by a code", plain, func(i int) float64 { return level * local[i] }, true},
		{"noise of B", plain, loud, false},
		{"noise of A", loud, plain, false},
	} {
		r, err := match.Compare(with(c.a, 1), with(c.b, 2))
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: null %.1f dB, %+v, %q", c.name, r.NullDB, r.Residual, r.Texts)
		if r.Warned(fault.FollowsMusic) != c.said {
			t.Errorf("%s: null %.1f dB, %+v, %q", c.name, r.NullDB, r.Residual, r.Texts)
		}
	}
}
