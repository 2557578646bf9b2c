package flac_test

import (
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	encoder "github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	"heardiff/playback/flac"
)

// verbatim returns a file of 24-bit stereo blocks of the given sizes, whose samples are stored as they are, and where each block begins.
func verbatim(t testing.TB, fixed bool, sizes []int, sample func(block, i, channel int) int32) (data []byte, begins []int) {
	t.Helper()
	var b bytes.Buffer
	e, err := encoder.NewEncoder(&b, &meta.StreamInfo{BlockSizeMin: uint16(slices.Min(sizes)), BlockSizeMax: uint16(slices.Max(sizes)), SampleRate: 48000, NChannels: 2, BitsPerSample: 24})
	if err != nil {
		t.Fatal(err)
	}
	done := 0
	for n, size := range sizes {
		f := &frame.Frame{Header: frame.Header{HasFixedBlockSize: fixed, BlockSize: uint16(size), SampleRate: 48000, Channels: frame.ChannelsLR, BitsPerSample: 24}}
		for c := range 2 {
			s := &frame.Subframe{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, NSamples: size}
			for i := range size {
				s.Samples = append(s.Samples, sample(n, i, c))
			}
			f.Subframes = append(f.Subframes, s)
		}
		if f.Num = uint64(n); !fixed {
			f.Num = uint64(done)
		}
		begins, done = append(begins, b.Len()), done+size
		if err := e.WriteFrame(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), begins
}

// sumInTurn is the MD5 sum of a file's samples as 32-bit words, decoded by the library alone, block after block.
func sumInTurn(data []byte) (frames int, sum string, err error) {
	stream, err := encoder.New(bytes.NewReader(data))
	if err != nil {
		return 0, "", err
	}
	var words []byte
	for stream.Info.NSamples == 0 || uint64(frames) < stream.Info.NSamples {
		block, err := stream.ParseNext()
		if err == io.EOF && stream.Info.NSamples == 0 {
			break
		}
		if err != nil {
			return 0, "", err
		}
		for i := range int(block.BlockSize) {
			for _, s := range block.Subframes {
				words = binary.LittleEndian.AppendUint32(words, uint32(s.Samples[i]<<(32-stream.Info.BitsPerSample)))
			}
		}
		frames += int(block.BlockSize)
	}
	return frames, fmt.Sprintf("%x", md5.Sum(words)), nil
}

// sumOf is the same by this package.
func sumOf(t *testing.T, f *flac.File) string {
	t.Helper()
	var words []byte
	block := make([][]float64, f.Format().Channels)
	for c := range block {
		block[c] = make([]float64, f.Frames())
	}
	if n, err := f.ReadFrames(block, 0); n != f.Frames() {
		t.Fatal(n, err)
	}
	for i := range f.Frames() {
		for c := range block {
			words = binary.LittleEndian.AppendUint32(words, uint32(int32(block[c][i]*(1<<31))))
		}
	}
	return fmt.Sprintf("%x", md5.Sum(words))
}

func noise(seed uint64) func(block, i, channel int) int32 {
	r := rand.New(rand.NewPCG(seed, 1))
	return func(int, int, int) int32 { return r.Int32N(1<<24) - 1<<23 }
}

func TestBlocksDecodedTogetherAreThoseDecodedInTurn(t *testing.T) {
	even := slices.Repeat([]int{576}, 200) // numbers of one byte, then of two
	of := map[string][]byte{}
	of["of equal blocks"], _ = verbatim(t, true, even, noise(1))
	of["of unequal blocks"], _ = verbatim(t, false, []int{16, 4096, 17, 576, 65535, 192, 4608, 100}, noise(2))
	plain, begins := verbatim(t, true, even, noise(3))
	for _, c := range []struct {
		name       string
		in, of, at int // the header of block "of" among the samples of block "in", behind the sample at
	}{
		{"whose audio holds the header that comes next", 10, 11, 100},
		{"whose audio holds it near the end of the block", 190, 191, 570},
		{"whose audio holds its own header again", 20, 20, 3},
	} {
		header := plain[begins[c.of]:][:9]
		fresh := noise(3)
		of[c.name], _ = verbatim(t, true, even, func(block, i, channel int) int32 {
			v := fresh(block, i, channel)
			if k := 3 * (i - c.at); block == c.in && channel == 0 && k >= 0 && k < len(header) {
				v = int32(uint32(header[k])<<24|uint32(header[k+1])<<16|uint32(header[k+2])<<8) >> 8
			}
			return v
		})
		if bytes.Count(of[c.name], header) != 2 {
			t.Fatalf("%s: the header is not among the samples", c.name)
		}
	}
	of["with something behind its end"] = append(bytes.Clone(of["of equal blocks"]), plain[begins[3]:begins[5]]...)
	for name, data := range of {
		frames, want, err := sumInTurn(data)
		if err != nil {
			t.Fatal(err)
		}
		f, err := flac.Decode(t.Context(), bytes.NewReader(data))
		if err != nil {
			t.Errorf("a file %s: %v", name, err)
			continue
		}
		if got := sumOf(t, f); f.Frames() != frames || got != want {
			t.Errorf("a file %s: %d frames, MD5 %s; in turn %d, %s", name, f.Frames(), got, frames, want)
		}
		f.Close()
	}
}

func TestADamagedBlockIsNamedByThoseBeforeIt(t *testing.T) {
	data, begins := verbatim(t, true, slices.Repeat([]int{1000}, 60), noise(5))
	for _, c := range []struct {
		block, at int // the damaged byte
		want      string
	}{
		{0, 0, "after frame 0:"}, {0, 500, "after frame 0:"}, {17, 3, "after frame 17000:"}, {17, 2000, "after frame 17000:"}, {59, 2000, "after frame 59000:"},
	} {
		bad := bytes.Clone(data)
		bad[begins[c.block]+c.at] ^= 1
		if _, err := flac.Decode(t.Context(), bytes.NewReader(bad)); !errors.Is(err, flac.ErrDamaged) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("block %d, byte %d: %v, want %s", c.block, c.at, err, c.want)
		}
	}
}
