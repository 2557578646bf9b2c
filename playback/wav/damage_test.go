package wav_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// riff builds a WAV file of chunks, padded to even offsets.
func riff(chunks ...string) []byte {
	body := "WAVE" + strings.Join(chunks, "")
	return []byte("RIFF" + size(len(body)) + body)
}

func part(id, body string) string {
	return id + size(len(body)) + body + strings.Repeat("\x00", len(body)%2)
}

func size(n int) string { return string(binary.LittleEndian.AppendUint32(nil, uint32(n))) }

// decoded reads all of a WAV file.
func decoded(data []byte) (pcm.Clip, error) {
	f, err := wav.New(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return pcm.Clip{}, err
	}
	return pcm.Load(f, 0, -1)
}

// format returns a format chunk's body with consistent dependent fields.
func format(coding, channels uint16, rate uint32, bits uint16) string {
	b := binary.LittleEndian.AppendUint16(nil, coding)
	b = binary.LittleEndian.AppendUint16(b, channels)
	b = binary.LittleEndian.AppendUint32(b, rate)
	b = binary.LittleEndian.AppendUint32(b, rate*uint32(channels*bits/8))
	b = binary.LittleEndian.AppendUint16(b, channels*bits/8)
	return string(binary.LittleEndian.AppendUint16(b, bits))
}

func TestDamagedHeadersAreRefused(t *testing.T) {
	good := part("fmt ", format(1, 2, 44100, 16))
	ext := format(0xFFFE, 2, 44100, 16) + "\x16\x00\x10\x00\x03\x00\x00\x00\x01\x00"
	for _, c := range []struct {
		name string
		file []byte
		want error
	}{
		{"nothing", nil, wav.ErrNotWAV},
		{"eleven bytes", riff()[:11], wav.ErrNotWAV},
		{"other form", append([]byte("RIFF\x04\x00\x00\x00"), "AVI "...), wav.ErrNotWAV},
		{"big-endian", append([]byte("RIFX"), riff(good)[4:]...), wav.ErrUnsupported},
		{"no chunks", riff(), pcm.ErrTruncated},
		{"no audio chunk", riff(good), pcm.ErrTruncated},
		{"audio before format", riff(part("data", "abcd"), good), wav.ErrDamaged},
		{"empty audio", riff(good, part("data", "")), pcm.ErrEmpty},
		{"empty audio and a chunk", riff(good, part("data", ""), part("LIST", "abc")), pcm.ErrEmpty},
		{"audio after a length of 0", riff(good, part("data", ""), "\x12\x34\x00\x80\x00\x01\x00\x00\x00\x00"), wav.ErrUnfinished},
		{"silence after a length of 0", riff(good, part("data", ""), strings.Repeat("\x00", 400)), wav.ErrUnfinished},
		{"words after a length of 0", riff(good, part("data", ""), "pcm samples of a tone"), wav.ErrUnfinished},
		{"no length, as in a pipe", riff(good, "data\xff\xff\xff\xffabcd"), wav.ErrUnfinished},
		{"no length, which is damage", riff(good, "data\xff\xff\xff\xffabcd"), wav.ErrDamaged},
		{"audio cut short", riff(good, part("data", "abcdefgh"))[:46], pcm.ErrTruncated},
		{"half a frame", riff(good, part("data", "abcdef")), pcm.ErrTruncated},
		{"huge chunk in front", riff(good, "LIST\x00\x00\x00\xf0", part("data", "abcd")), pcm.ErrTruncated},
		{"huge format chunk", riff("fmt \xff\xff\xff\x7f"+format(1, 2, 44100, 16), part("data", "abcd")), pcm.ErrTruncated},
		{"short format chunk", riff(part("fmt ", "abcdefgh"), part("data", "abcd")), wav.ErrDamaged},
		{"nine channels", riff(part("fmt ", format(1, 9, 44100, 16)), part("data", "abcd")), wav.ErrUnsupported},
		{"no channel", riff(part("fmt ", format(1, 0, 44100, 16)), part("data", "abcd")), wav.ErrUnsupported},
		{"rate too low", riff(part("fmt ", format(1, 2, 7999, 16)), part("data", "abcd")), wav.ErrUnsupported},
		{"rate too high", riff(part("fmt ", format(1, 2, 768001, 16)), part("data", "abcd")), wav.ErrUnsupported},
		{"rate beyond 31 bits", riff(part("fmt ", format(1, 2, 1<<31+44100, 16)), part("data", "abcd")), wav.ErrUnsupported},
		{"twelve bits", riff(part("fmt ", format(1, 2, 44100, 12)), part("data", "abcd")), wav.ErrUnsupported},
		{"16-bit float", riff(part("fmt ", format(3, 2, 44100, 16)), part("data", "abcd")), wav.ErrUnsupported},
		{"wrong frame size", riff(part("fmt ", strings.Replace(format(1, 2, 44100, 16), "\x04\x00\x10\x00", "\x06\x00\x10\x00", 1)), part("data", "abcd")), wav.ErrDamaged},
		{"extensible without GUID", riff(part("fmt ", ext), part("data", "abcd")), wav.ErrDamaged},
		{"extensible with another GUID", riff(part("fmt ", ext+strings.Repeat("x", 14)), part("data", "abcd")), wav.ErrUnsupported},
		{"RF64 without its sizes", append([]byte("RF64"), riff(good, "data\xff\xff\xff\xffabcd")[4:]...), wav.ErrDamaged},
	} {
		if _, err := decoded(c.file); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
}

func TestChunksAroundTheAudioDoNotMatter(t *testing.T) {
	good := part("fmt ", format(1, 1, 44100, 16)+"\x00\x00")
	for name, file := range map[string][]byte{
		"odd chunk before the format": riff(part("JUNK", "x"), good, part("data", "\x00\x40\x00\xc0")),
		"odd chunk before the audio":  riff(good, part("LIST", "abc"), part("data", "\x00\x40\x00\xc0")),
		"chunk behind the audio":      riff(good, part("data", "\x00\x40\x00\xc0"), part("LIST", "abc")),
		"rubbish behind the audio":    append(riff(good, part("data", "\x00\x40\x00\xc0")), "\x01\x02\x03"...),
	} {
		c, err := decoded(file)
		if err != nil || c.Len() != 2 || c.Channels[0][0] != 0.5 || c.Channels[0][1] != -0.5 {
			t.Errorf("%s: %v, %v", name, c.Channels, err)
		}
	}
}

func TestSamplesThatAreNoNumbersAreFound(t *testing.T) {
	for name, bits := range map[string]uint32{"NaN": 0x7FC00000, "signalling NaN": 0x7F800001, "+Inf": 0x7F800000, "-Inf": 0xFF800000} {
		data := make([]byte, 8*50_000)
		binary.LittleEndian.PutUint32(data[8*40_000+4:], bits)
		file := riff(part("fmt ", format(3, 2, 44100, 32)), part("data", string(data)))
		f, err := wav.New(bytes.NewReader(file), int64(len(file)))
		if err != nil {
			t.Fatal(err)
		}
		if err := pcm.Verify(f); !errors.Is(err, wav.ErrSample) || !strings.Contains(err.Error(), "channel 2, frame 40000") {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := f.ReadFrames(pcm.Planes(2, 100), 39_900); err != nil {
			t.Errorf("%s: what comes before: %v", name, err)
		}
	}
}

func TestAFileThatShrinksWhileItIsReadIsTruncated(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.wav")
	if err := os.WriteFile(path, riff(part("fmt ", format(1, 1, 44100, 16)), part("data", "abcdefgh")), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := wav.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := os.Truncate(path, 46); err != nil {
		t.Fatal(err)
	}
	if err := pcm.Verify(f); !errors.Is(err, pcm.ErrTruncated) {
		t.Error(err)
	}
}

func TestReadsOutsideTheFileEnd(t *testing.T) {
	f, err := wav.Open("testdata/pcm16.wav")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, from := range []int{-1, 333, math.MaxInt} {
		if n, err := f.ReadFrames(pcm.Planes(2, 1), from); n != 0 || err != io.EOF {
			t.Errorf("from %d: %d, %v", from, n, err)
		}
	}
	if n, err := f.ReadFrames(pcm.Planes(2, 10), 330); n != 3 || err != io.EOF {
		t.Errorf("the last three frames: %d, %v", n, err)
	}
	if _, err := f.ReadFrames(pcm.Planes(1, 1), 0); !errors.Is(err, pcm.ErrMismatch) {
		t.Errorf("one channel of two: %v", err)
	}
}

func FuzzRead(f *testing.F) {
	files, err := filepath.Glob("testdata/*.wav")
	if err != nil || len(files) == 0 {
		f.Fatal("no seeds", err)
	}
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data[:min(len(data), 300)])
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := decoded(data)
		if err != nil {
			return
		}
		if c.Len() < 1 || c.Len()*len(c.Channels)*2 > len(data) || wav.CheckShape(c.Rate, len(c.Channels)) != nil {
			t.Errorf("%d bytes gave %d frames of %d channels at %d Hz", len(data), c.Len(), len(c.Channels), c.Rate)
		}
	})
}
