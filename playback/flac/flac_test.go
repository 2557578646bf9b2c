package flac_test

import (
	"bytes"
	"context"
	"crypto/md5"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"os"
	"testing"

	"heardiff/playback/flac"
	"heardiff/playback/pcm"
)

const golden = "../../testdata/audio/noise24.flac"

// opened opens golden.
func opened(t *testing.T) *flac.File {
	t.Helper()
	f, err := flac.Open(t.Context(), golden)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

func TestSamplesAreThoseOfAnIndependentDecoder(t *testing.T) {
	f := opened(t)
	if want := (pcm.Format{Rate: 44100, Channels: 2, Bits: 24}); f.Format() != want || f.Frames() != 4410 {
		t.Fatalf("%v, %d frames", f.Format(), f.Frames())
	}
	sum := md5.New()
	err := pcm.Blocks(f, 1000, func(b [][]float64, _ int) error {
		for i := range b[0] {
			for c := range b {
				var raw [8]byte
				binary.LittleEndian.PutUint64(raw[:], math.Float64bits(b[c][i]))
				sum.Write(raw[:])
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	// ref: ffmpeg 5.1.9, the command in testdata/audio/README.md
	if got := hex.EncodeToString(sum.Sum(nil)); got != "44854f301dff9675cb0eb7dfa08d3ee2" {
		t.Errorf("MD5 of the samples %s", got)
	}
}

func TestAnyPartCanBeReadAtAnyTime(t *testing.T) {
	f := opened(t)
	whole, err := pcm.Load(f, 0, -1)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []int{4000, 17, 0, 4409} {
		one := pcm.Planes(2, 1)
		if n, err := f.ReadFrames(one, at); n != 1 || err != nil || one[1][0] != whole.Channels[1][at] {
			t.Errorf("frame %d: %d frames, %v, %v", at, n, err, one)
		}
	}
	if _, err := f.ReadFrames(pcm.Planes(2, 1), 4410); err != io.EOF {
		t.Errorf("behind the end: %v", err)
	}
}

func TestDamageIsRefused(t *testing.T) {
	whole, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	change := func(at int, to byte) []byte {
		b := bytes.Clone(whole)
		b[at] ^= to
		return b
	}
	for _, c := range []struct {
		name string
		data []byte
		want error
	}{
		{"nothing", nil, flac.ErrNotFLAC},
		{"another format", []byte("RIFF----WAVE"), flac.ErrNotFLAC},
		{"cut in the header", whole[:20], pcm.ErrTruncated},
		{"cut in the audio", whole[:len(whole)/2], pcm.ErrTruncated},
		{"last byte missing", whole[:len(whole)-1], pcm.ErrTruncated},
		{"one bit of the audio", change(len(whole)/2, 4), flac.ErrDamaged},
		{"one bit of the MD5 sum", change(8+18, 1), flac.ErrDamaged},
	} {
		if _, err := flac.Decode(context.Background(), bytes.NewReader(c.data)); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
}

func FuzzDecode(f *testing.F) {
	whole, err := os.ReadFile(golden)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole[:6000])
	f.Add(whole[:60])
	f.Fuzz(func(t *testing.T, data []byte) {
		if file, err := flac.Decode(context.Background(), bytes.NewReader(data)); err == nil {
			defer file.Close()
			frames, want, err := sumInTurn(data)
			if got := sumOf(t, file); err != nil || file.Frames() != frames || got != want {
				t.Errorf("%d frames, MD5 %s; in turn %d, %s, %v", file.Frames(), got, frames, want, err)
			}
		}
	})
}
