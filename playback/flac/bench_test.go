package flac_test

import (
	"bytes"
	"context"
	"os"
	"testing"

	"heardiff/playback/flac"
)

// BenchmarkOpen counts bytes of decoded audio.
func BenchmarkOpen(b *testing.B) {
	data, err := os.ReadFile(golden)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(4410 * 2 * 3)
	for b.Loop() {
		f, err := flac.Decode(context.Background(), bytes.NewReader(data))
		if err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
}
