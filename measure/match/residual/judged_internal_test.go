package residual

import (
	"math"
	"testing"

	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/playback/pcm"
)

// A band has a level where it has eight bins and noise is less than a 200th of its power.
func TestABandHasALevelWhereNoiseIsLittle(t *testing.T) {
	for _, c := range []struct {
		bins  int
		share float64
		known bool
	}{{8, 0.004, true}, {8, 0.006, false}, {7, 0.001, false}, {64, 0.004, true}} {
		a, rem := make([]complex128, c.bins), make([]complex128, c.bins)
		for k := range a { // noise is what has nothing in common with a
			a[k], rem[k] = 1, complex(math.Sqrt(c.share)*float64(1-2*(k%2)), 0)
		}
		if db := levelDB(a, rem); math.IsNaN(db) == c.known {
			t.Errorf("%d bins, noise of %v: %v dB", c.bins, c.share, db)
		}
	}
}

// constant is a record of one channel whose bins are all alike: |A|² is 1, conj(A)·R a half, |R|² given.
func constant(rr float64) *Record {
	r := newRecord(48000, 1, 8192, 1)
	r.blocks = 100
	for k := range r.sums[0] {
		r.sums[0][k] = binSums{aa: 100, rr: 100 * rr, ar: 50, aaaa: 100, aarr: 100 * rr, aaar: 50}
	}
	return r
}

// With |B|² = |R|², conj(A)·B is a half: a band has a response from a coherence of 0.3 on, a channel its own figures from a correlation of 0.3 on.
func TestBandsAndChannelsNeedSomethingInCommon(t *testing.T) {
	for coherence, known := range map[float64]bool{0.27: false, 0.33: true} {
		r := constant(0.25 / coherence)
		if b := r.transfer(Band{LowHz: 891, HighHz: 1122}, 1); math.IsNaN(b.StandardErrorDB) == known || math.Abs(b.Coherence-coherence) > 1e-9 {
			t.Errorf("a coherence of %v: %+v", coherence, b)
		}
	}
	for correlation, known := range map[float64]bool{0.27: false, 0.33: true} {
		r := constant(0.25 / (correlation * correlation))
		if c := r.ChannelFigures(1)[0]; math.IsNaN(c.GainDB) == known || math.Abs(c.Correlation-correlation) > 1e-9 {
			t.Errorf("a correlation of %v: %+v", correlation, c)
		}
	}
}

// The level of the residual has a slope over the music's from ten stretches on, where the music's level moves by half a decibel.
func TestALevelHasASlopeWhereItMoves(t *testing.T) {
	for _, c := range []struct {
		stretches int
		swingDB   float64 // from loud to quiet and back: its standard deviation is a little more than half of it
		want      float64
	}{{10, 1.2, 1}, {9, 1.2, 0}, {200, 0.8, 0}, {200, 1.2, 1}} {
		var r Record
		for i := range c.stretches {
			power := math.Pow(10, c.swingDB*float64(i%2)/10)
			r.timing = append(r.timing, timingSums{a: power, rem: 1e-6 * power})
		}
		if got := r.levelSlope(); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%d stretches that swing by %v dB: slope %v, want %v", c.stretches, c.swingDB, got, c.want)
		}
	}
	for slope, want := range map[float64]float64{0.25: 0.1, 0.35: 0.35} {
		if got := (Shares{Distortion: 0.1, LevelSlope: slope}).FollowsMusic(); got != want {
			t.Errorf("a slope of %v: %v follows the music, want %v", slope, got, want)
		}
	}
}

// What follows the music is known of bands of 16 bins, in 12 blocks.
func TestWhatFollowsNeedsBinsAndBlocks(t *testing.T) {
	r := newRecord(48000, 1, 8192, 1)
	spectrum := make([]complex128, r.N/2+1)
	for k := range spectrum {
		spectrum[k] = 1
	}
	for blocks := 1; blocks <= 12; blocks++ {
		r.noteFollowing([][]complex128{spectrum}, [][]complex128{spectrum})
		if n := len(r.Followings()); (n > 0) != (blocks == 12) {
			t.Errorf("%d bands of %d blocks", n, blocks)
		}
	}
	for i, band := range ThirdOctaves(r.Rate) {
		lo, hi := r.Bins(band.LowHz, band.HighHz)
		if followed := len(r.following[i]) > 0; followed != (hi-lo >= 16) {
			t.Errorf("a band of %d bins is followed: %v", hi-lo, followed)
		}
	}
}

// Four blocks fit into a short overlap, and blocks overlap by half where there are few.
func TestBlocksFitIntoTheOverlap(t *testing.T) {
	kernels, err := audible.NewKernels(48000)
	if err != nil {
		t.Fatal(err)
	}
	for frames, want := range map[int][2]int{2 * 48000: {8192, 4096}, 24000: {4096, 2048}, 6000: {1024, 512}, 30 * 48000: {8192, 8192}} {
		clip := pcm.NewClip(48000, 1, frames)
		for i := range clip.Channels[0] {
			clip.Channels[0][i] = math.Sin(float64(i) * float64(i%97))
		}
		r, err := Measure(clip, clip, align.Line{Sign: 1}, 1, 1, kernels.Exact)
		if err != nil || r.N != want[0] || r.hop != want[1] {
			t.Errorf("%d frames: blocks of %d, %d apart, want %v; error %v", frames, r.N, r.hop, want, err)
		}
	}
}
