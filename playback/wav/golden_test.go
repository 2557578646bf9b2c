package wav_test

import (
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/go-audio/audio"
	goaudio "github.com/go-audio/wav"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// ref: ffmpeg 5.1.9; testdata/README.md has the commands that made the files and the sums.
func TestSamplesAreThoseOfAnIndependentDecoder(t *testing.T) {
	for _, c := range []struct {
		name   string
		format pcm.Format
		md5    string
	}{
		{"float-bext-list.wav", pcm.Format{Rate: 44100, Channels: 2, Bits: 32, Float: true}, "542c86879d9c2281b1365b3538f410bc"},
		{"float32.wav", pcm.Format{Rate: 48000, Channels: 3, Bits: 32, Float: true}, "aa1a0e52b41d449fea2aa1c33ef2c018"},
		{"odd24-extensible.wav", pcm.Format{Rate: 44100, Channels: 1, Bits: 24}, "7c796993399f98761865c03f12d003d2"},
		{"pcm16.wav", pcm.Format{Rate: 44100, Channels: 2, Bits: 16}, "542c86879d9c2281b1365b3538f410bc"},
		{"pcm32-extensible.wav", pcm.Format{Rate: 96000, Channels: 2, Bits: 32}, "8f4bb7770200e32c3709b5c4ab5bce32"},
		{"rf64.wav", pcm.Format{Rate: 44100, Channels: 2, Bits: 24}, "542c86879d9c2281b1365b3538f410bc"},
	} {
		f, err := wav.Open(filepath.Join("testdata", c.name))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		defer f.Close()
		if f.Format() != c.format || f.Frames() != 333 {
			t.Errorf("%s: %v, %d frames", c.name, f.Format(), f.Frames())
		}
		if got := sumOf(t, f); got != c.md5 {
			t.Errorf("%s: MD5 of the samples %s, want %s", c.name, got, c.md5)
		}
	}
}

func sumOf(t *testing.T, r pcm.Reader) string {
	t.Helper()
	sum := md5.New()
	err := pcm.Blocks(r, 100, func(b [][]float64, _ int) error {
		for i := range b[0] {
			for c := range b {
				sum.Write(binary.LittleEndian.AppendUint64(nil, math.Float64bits(b[c][i])))
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

func TestOtherKindsOfWAVAreRefused(t *testing.T) {
	for name, want := range map[string]error{
		"refused-8bit.wav":    wav.ErrUnsupported,
		"refused-mulaw.wav":   wav.ErrUnsupported,
		"refused-float64.wav": wav.ErrUnsupported,
		"refused-pipe.wav":    wav.ErrDamaged,
		"README.md":           wav.ErrNotWAV,
		".":                   wav.ErrNotWAV,
		"absent.wav":          os.ErrNotExist,
	} {
		if _, err := wav.Open(filepath.Join("testdata", name)); !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", name, err, want)
		}
	}
}

// An independent reader reads what is written, including the chunk in front that RF64 may need.
func TestAnIndependentReaderTakesWhatIsWritten(t *testing.T) {
	for _, bits := range []int{16, 24} {
		format := pcm.Format{Rate: 96000, Channels: 2, Bits: bits}
		want := words(format, 777)
		data := written(t, want.Channels, format, pcm.NewPlainQuantizer(bits), "")
		got, err := goaudio.NewDecoder(bytes.NewReader(data)).FullPCMBuffer()
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Data) != 2*777 || got.Format.SampleRate != 96000 || got.SourceBitDepth != bits {
			t.Fatalf("%d bits: %d samples, %+v", bits, len(got.Data), got.Format)
		}
		for i, v := range got.Data {
			if x := math.Ldexp(float64(v), 1-bits); x != want.Channels[i%2][i/2] {
				t.Fatalf("%d bits: sample %d is %v", bits, i, x)
			}
		}
	}
}

func TestWhatAnIndependentWriterWroteIsRead(t *testing.T) {
	file, err := os.Create(filepath.Join(t.TempDir(), "a.wav"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	in := &audio.IntBuffer{Format: &audio.Format{NumChannels: 2, SampleRate: 44100}, SourceBitDepth: 24,
		Data: []int{1, -1, 1<<23 - 1, -1 << 23, 0, 12345}}
	enc := goaudio.NewEncoder(file, 44100, 24, 2, 1)
	if err := errors.Join(enc.Write(in), enc.Close()); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(file.Name())
	if err != nil {
		t.Fatal(err)
	}
	c, err := decoded(data)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range in.Data {
		if got := c.Channels[i%2][i/2]; got != float64(v)*0x1p-23 {
			t.Errorf("sample %d is %v, want word %d", i, got, v)
		}
	}
}
