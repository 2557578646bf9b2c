package flac_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	encoder "github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	"heardiff/playback/flac"
)

// constant returns a file of blocks of the largest size, all of one value: about 20 bytes of file for 393 kB of audio each.
func constant(t *testing.T, blocks int) []byte {
	t.Helper()
	const size = 65535
	var b bytes.Buffer
	e, err := encoder.NewEncoder(&b, &meta.StreamInfo{BlockSizeMin: size, BlockSizeMax: size, SampleRate: 192_000, NChannels: 2, BitsPerSample: 24})
	if err != nil {
		t.Fatal(err)
	}
	samples := make([]int32, size)
	for i := range samples {
		samples[i] = 5
	}
	for range blocks {
		f := &frame.Frame{Header: frame.Header{HasFixedBlockSize: true, BlockSize: size, SampleRate: 192_000, Channels: frame.ChannelsLR, BitsPerSample: 24}}
		for range 2 {
			f.Subframes = append(f.Subframes, &frame.Subframe{SubHeader: frame.SubHeader{Pred: frame.PredConstant}, Samples: samples, NSamples: size})
		}
		if err := e.WriteFrame(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestASmallFileDoesNotFillTheDisk(t *testing.T) {
	if testing.Short() {
		t.Skip("decodes half a gigabyte")
	}
	data := constant(t, 1500)
	_, err := flac.Decode(context.Background(), bytes.NewReader(data))
	if !errors.Is(err, flac.ErrTooLarge) || !strings.Contains(err.Error(), "more than 512 MB") {
		t.Errorf("%d bytes for %d MB: %v", len(data), 1500*65535*6>>20, err)
	}
	if most := flac.Room(100 << 20); most != 10_000<<20 {
		t.Errorf("a recording of 100 MB may have %d bytes", most)
	}
}

// held ends its context once a number of bytes have been read.
type held struct {
	io.Reader
	left int
	stop func()
}

func (h *held) Read(p []byte) (int, error) {
	n, err := h.Reader.Read(p[:min(len(p), 64)])
	if h.left -= n; h.left < 0 {
		h.stop()
	}
	return n, err
}

func TestDecodingEndsWithItsContext(t *testing.T) {
	data := constant(t, 20)
	ctx, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	if _, err := flac.Decode(ctx, &held{bytes.NewReader(data), len(data) / 2, stop}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}
