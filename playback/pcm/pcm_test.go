package pcm_test

import (
	"errors"
	"io"
	"math"
	"testing"
	"time"

	"heardiff/playback/pcm"
)

func TestRateConvertsBothWays(t *testing.T) {
	for _, rate := range []pcm.Rate{8000, 44100, 48000, 768000} {
		if got := rate.Frames(time.Second); got != int(rate) {
			t.Errorf("%d Hz: %d frames in a second", rate, got)
		}
		for _, n := range []int{0, 1, 12345, 7_000_001} {
			if got := rate.Frames(rate.Duration(n)); got != n {
				t.Errorf("%d Hz: %d frames came back as %d", rate, n, got)
			}
		}
	}
}

func TestLevelsFollowAES17(t *testing.T) {
	// ref: a full-scale square is +3.0103 dBFS and full-scale uniform noise −1.7609 dBFS where a full-scale
	// sine is 0 dBFS: 20·log10(√2) and 20·log10(√2/√3).
	for _, c := range []struct {
		name      string
		rms, want float64
	}{
		{"sine", 1 / math.Sqrt2, 0},
		{"square", 1, 3.0103},
		{"uniform noise", 1 / math.Sqrt(3), -1.7609},
	} {
		if got := pcm.DBFS(c.rms); math.Abs(got-c.want) > 5e-5 { // the values are rounded to four places
			t.Errorf("%s: %.5f dBFS, want %.4f", c.name, got, c.want)
		}
		if got := pcm.RMSOf(pcm.DBFS(c.rms)); math.Abs(got-c.rms) > 1e-15 {
			t.Errorf("%s: RMSOf(DBFS(%v)) = %v", c.name, c.rms, got)
		}
	}
	if !math.IsInf(pcm.DBFS(0), -1) {
		t.Error("silence must be −Inf dBFS")
	}
}

// ref: quantisation noise relative to a full-scale sine: 6.0206·N + 1.7609 dB without dither, 4.7712 dB more
// noise with TPDF (any textbook of digital audio); the figures for 8 and 16 bits.
func TestQuantizationNoise(t *testing.T) {
	const n = 400_000
	for _, c := range []struct {
		name string
		q    *pcm.Quantizer
		want float64
	}{
		{"8 bits plain", pcm.NewPlainQuantizer(8), -49.926},
		{"8 bits TPDF", pcm.NewQuantizer(8, 1), -45.154},
		{"16 bits plain", pcm.NewPlainQuantizer(16), -98.091},
		{"16 bits TPDF", pcm.NewQuantizer(16, 1), -93.319},
	} {
		sum := 0.0
		for i := range n {
			v := 1.8*frac(float64(i)*math.Phi) - 0.9 // equidistributed, so that the formula's uniform error holds
			w, clipped := c.q.Word(v)
			if clipped {
				t.Fatalf("%s: clipped at %v", c.name, v)
			}
			e := c.q.Value(w) - v
			sum += e * e
		}
		// Standard error of a power from n independent samples is below 4.34·√(2/n) = 0.01 dB.
		if got := pcm.DBFS(math.Sqrt(sum / n)); math.Abs(got-c.want) > 0.04 {
			t.Errorf("%s: noise %.3f dBFS, want %.3f", c.name, got, c.want)
		}
	}
}

func frac(x float64) float64 { return x - math.Floor(x) }

func TestQuantizerKeepsWordsAndClips(t *testing.T) {
	for _, bits := range []int{16, 24, 32} {
		q := pcm.NewPlainQuantizer(bits)
		for _, w := range []int32{0, 1, -1, 1 << (bits - 2), -1 << (bits - 1), 1<<(bits-1) - 1} {
			if got, clipped := q.Word(q.Value(w)); got != w || clipped {
				t.Errorf("%d bits: word %d came back as %d, clipped %v", bits, w, got, clipped)
			}
		}
		for _, v := range []float64{1, 7, -1.1} {
			if _, clipped := q.Word(v); !clipped {
				t.Errorf("%d bits: %v did not clip", bits, v)
			}
		}
	}
}

func TestClipReadsInBlocks(t *testing.T) {
	c := pcm.NewClip(48000, 2, 1000)
	for i := range c.Len() {
		c.Channels[0][i], c.Channels[1][i] = float64(i), -float64(i)
	}
	seen := 0
	err := pcm.Blocks(c, 300, func(block [][]float64, from int) error {
		for i, v := range block[1] {
			if v != -float64(from+i) {
				t.Fatalf("frame %d holds %v", from+i, v)
			}
		}
		seen += len(block[0])
		return nil
	})
	if err != nil || seen != 1000 {
		t.Errorf("saw %d frames, error %v", seen, err)
	}
	if part, err := pcm.Load(c, 990, -1); err != nil || part.Len() != 10 || part.Channels[0][0] != 990 {
		t.Errorf("Load gave %d frames, error %v", part.Len(), err)
	}
	if _, err := pcm.Load(c, 990, 1010); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("Load past the end: %v", err)
	}
}

func TestFloat32HoldsEvery24BitWord(t *testing.T) {
	q := pcm.NewPlainQuantizer(24)
	c := pcm.NewClip(48000, 1, 1)
	for w := int32(-1 << 23); w < 1<<23; w += 97 {
		c.Channels[0][0] = q.Value(w)
		if got := float64(c.Float32()[0]); got != q.Value(w) {
			t.Fatalf("word %d became %v", w, got)
		}
	}
}
