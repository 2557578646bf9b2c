package measure

import (
	"math"
	"slices"

	"heardiff/playback/pcm"
)

// Survey is a first look through a capture from end to end: how loud each block is, which samples are at full scale, and which channels are equal.
type Survey struct {
	Format pcm.Format
	Frames int
	Block  int         // frames; the last block may be a short one
	Levels [][]float64 // RMS of each channel in each block
	// Clipped counts the samples of each channel at the highest or lowest word, or at ±1 and beyond in float.
	Clipped []int
	// Copies are the channels, from 1, that equal channel 1 in every sample.
	Copies []int
}

// SurveyOf reads all of r in blocks of so many frames, and shows each to visit, which may be nil. Errors are those of reading.
func SurveyOf(r pcm.Reader, block int, visit func(block [][]float64, from int)) (Survey, error) {
	f := r.Format()
	s := Survey{Format: f, Frames: r.Frames(), Block: block, Levels: make([][]float64, f.Channels), Clipped: make([]int, f.Channels)}
	full, same := fullScale(f), make([]bool, f.Channels)
	for c := 1; c < len(same); c++ {
		same[c] = true
	}
	err := pcm.Blocks(r, block, func(b [][]float64, from int) error {
		for c, x := range b {
			sum := 0.0
			for _, v := range x {
				sum += v * v
				if math.Abs(v) >= full {
					s.Clipped[c]++
				}
			}
			s.Levels[c] = append(s.Levels[c], math.Sqrt(sum/float64(len(x))))
			same[c] = same[c] && slices.Equal(x, b[0])
		}
		if visit != nil {
			visit(b, from)
		}
		return nil
	})
	for c, is := range same {
		if is {
			s.Copies = append(s.Copies, c+1)
		}
	}
	return s, err
}

// Identical reports whether all channels, two or more, are equal in every sample.
func (s Survey) Identical() bool {
	return s.Format.Channels > 1 && len(s.Copies) == s.Format.Channels-1
}

// fullScale is the magnitude from which a sample counts as clipped.
func fullScale(f pcm.Format) float64 {
	if f.Float {
		return 1
	}
	// The highest word is one step below full scale; a recorder may stop at either end.
	return 1 - math.Ldexp(1, 1-f.Bits)
}
