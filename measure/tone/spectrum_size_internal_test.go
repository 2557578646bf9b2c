package tone

import "testing"

// A spectrum has blocks of two seconds, and four to average at the least, down to blocks of 256 frames.
func TestASpectrumHasBlocksToAverage(t *testing.T) {
	for frames, want := range map[int]int{30 * 48000: 131072, 6 * 48000: 65536, 48000: 8192, 12000: 2048, 1025: 256, 300: 256} {
		if n := spectrumSize(48000, frames); n != want {
			t.Errorf("%d frames: blocks of %d, want %d", frames, n, want)
		}
	}
}
