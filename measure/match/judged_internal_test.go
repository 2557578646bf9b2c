package match

import (
	"math"
	"slices"
	"testing"

	"heardiff/measure/match/align"
	"heardiff/playback/pcm"
)

// The level of a short excerpt is read in blocks that fit into it, down to 1024 frames.
func TestBlocksOfALevelFitIntoTheExcerpt(t *testing.T) {
	for frames, want := range map[int]int{48000: 16384, 3000: 2048, 1500: 1024, 500: 1024} {
		clip := pcm.NewClip(48000, 1, frames)
		if n := 2 * (len(audibly(clip, clip).aa) - 1); n != want {
			t.Errorf("%d frames: blocks of %d, want %d", frames, n, want)
		}
	}
}

// Nulls below −90 dB are as good as each other: a place of no residual is as doubtful as the next at −100 dB, and sure of the next at −80.
func TestNegligibleNullsAreAsGoodAsEachOther(t *testing.T) {
	for nextDB, sure := range map[float64]bool{-100: false, -80: true} {
		if c := confidence(0, math.Pow(10, nextDB/10)); (c >= doubtful) != sure {
			t.Errorf("the next place nulls to %v dB: confidence %v", nextDB, c)
		}
	}
}

// A place whose glance leaves up to 1.3 times the residual here is measured; what leaves more is noted as the glance has it.
func TestPlacesThatMayBeBetterAreMeasured(t *testing.T) {
	clip := pcm.NewClip(48000, 1, 3*48000)
	for i := range clip.Channels[0] {
		clip.Channels[0][i] = math.Sin(float64(i) * float64(i%997))
	}
	c, err := look(clip, clip)
	if err != nil {
		t.Fatal(err)
	}
	s, err := align.Find(clip, clip, c.courseA, c.courseB)
	if err != nil {
		t.Fatal(err)
	}
	here, err := c.inPlace(s)
	if err != nil {
		t.Fatal(err)
	}
	here.known = nil
	m, err := c.bestOf(s, here, []align.Displaced{{Frames: 4801, Ratio: 1.29}, {Frames: 9603, Ratio: 1.31}})
	glanced := slices.DeleteFunc(slices.Clone(m.known), func(k rival) bool { return k.ratio == 0 })
	if len(glanced) != 1 || glanced[0].offset != 9603 {
		t.Errorf("places glanced at alone: %+v", glanced)
	}
	if err != nil || len(m.known) != 2 {
		t.Errorf("places noted: %+v, error %v", m.known, err)
	}
}
