package flac_test

import (
	"bytes"
	"context"
	"os"
	"slices"
	"testing"

	"heardiff/playback/flac"
)

// BenchmarkOpen counts bytes of decoded audio.
func BenchmarkOpen(b *testing.B) {
	data, err := os.ReadFile(golden)
	if err != nil {
		b.Fatal(err)
	}
	benchmarkDecode(b, data, 4410)
}

// BenchmarkOpenOfTenSeconds is of a file long enough for its blocks to be decoded together; a tenth of a second, as in BenchmarkOpen, is mostly
// what every file costs.
func BenchmarkOpenOfTenSeconds(b *testing.B) {
	const blocks, frames = 120, 4096
	data, _ := verbatim(b, true, slices.Repeat([]int{frames}, blocks), noise(1))
	benchmarkDecode(b, data, blocks*frames)
}

func benchmarkDecode(b *testing.B, data []byte, frames int64) {
	b.SetBytes(frames * 2 * 3)
	for b.Loop() {
		f, err := flac.Decode(context.Background(), bytes.NewReader(data))
		if err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
}
