package wav_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

var cd = pcm.Format{Rate: 44100, Channels: 2, Bits: 16}

func TestNothingHalfWrittenStays(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.wav")
	if err := os.WriteFile(path, []byte("before"), 0o600); err != nil {
		t.Fatal(err)
	}
	w, err := wav.Create(path, cd, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(pcm.Planes(2, 100)); err != nil {
		t.Fatal(err)
	}
	only := func(want string) {
		t.Helper()
		names, _ := filepath.Glob(filepath.Join(dir, "*"))
		hidden, _ := filepath.Glob(filepath.Join(dir, ".*"))
		got, _ := os.ReadFile(path)
		if len(names) != 1 || len(hidden) != 0 || (string(got) != want && want != "") {
			t.Errorf("%v %v, %q", names, hidden, got)
		}
	}
	w.Abort()
	only("before")
	if err := w.Close(); err == nil {
		t.Error("Close after Abort must say that there is no file")
	}
	if w, err = wav.Create(path, cd, nil); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Write(pcm.Planes(2, 100)), w.Close()); err != nil {
		t.Fatal(err)
	}
	w.Abort() // after Close it does nothing
	only("")
	if f, err := wav.Open(path); err != nil || f.Frames() != 100 {
		t.Error(err)
	}
}

func TestWhatCannotBeWrittenIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.wav")
	for name, c := range map[string]struct {
		f pcm.Format
		q *pcm.Quantizer
	}{
		"8-bit":            {pcm.Format{Rate: 44100, Channels: 2, Bits: 8}, nil},
		"24-bit float":     {pcm.Format{Rate: 44100, Channels: 2, Bits: 24, Float: true}, nil},
		"nine channels":    {pcm.Format{Rate: 44100, Channels: 9, Bits: 16}, nil},
		"rate":             {pcm.Format{Rate: 4000, Channels: 1, Bits: 16}, nil},
		"wrong quantizer":  {cd, pcm.NewPlainQuantizer(24)},
		"quantized floats": {pcm.Format{Rate: 44100, Channels: 2, Bits: 32, Float: true}, pcm.NewPlainQuantizer(24)},
	} {
		if _, err := wav.Create(path, c.f, c.q); !errors.Is(err, wav.ErrUnsupported) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := wav.Create(os.DevNull, cd, nil); err == nil {
		t.Error("a device would have been replaced by a file")
	}
	w, err := wav.Create(path, cd, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Abort()
	for name, block := range map[string][][]float64{
		"NaN":             {{0}, {math.NaN()}},
		"infinite":        {{0}, {math.Inf(-1)}},
		"too few":         {{0}},
		"unequal lengths": {{0, 0}, {0}},
	} {
		if err := w.Write(block); err == nil {
			t.Errorf("%s: written", name)
		}
	}
	if err := errors.Join(w.Write([][]float64{{2, 0}, {0, -2}}), w.Close()); err != nil || w.Clipped() != 2 {
		t.Errorf("%d clipped, %v", w.Clipped(), err)
	}
	if f, err := wav.Open(path); err != nil || f.Frames() != 2 {
		t.Errorf("refused blocks must leave no trace: %v", err)
	}
}

// ref: 16 bits with triangular dither: noise −93.319 dBFS (any textbook: −6.0206·16 − 1.7609 + 4.7712 dB).
func TestSixteenBitsAreDitheredByDefault(t *testing.T) {
	const frames = 200_000
	in := pcm.Planes(1, frames)
	for i := range in[0] {
		in[0][i] = 0.3 * math.Sin(float64(i))
	}
	c, err := decoded(written(t, in, pcm.Format{Rate: 48000, Channels: 1, Bits: 16}, nil, ""))
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for i, v := range c.Channels[0] {
		sum += (v - in[0][i]) * (v - in[0][i])
	}
	// Standard error of a power of n samples: 4.34·√(2/n) = 0.014 dB.
	if got := pcm.DBFS(math.Sqrt(sum / frames)); math.Abs(got+93.319) > 0.06 {
		t.Errorf("noise %.3f dBFS", got)
	}
}

// Beyond four gigabytes the header becomes RF64; it is read back over a source that exists only as a size.
func TestLongFilesBecomeRF64(t *testing.T) {
	f := pcm.Format{Rate: 96000, Channels: 2, Bits: 24}
	if a, b := wav.Header(f, 1), wav.Header(f, 1<<31); len(a) != len(b) {
		t.Fatalf("headers of %d and %d bytes", len(a), len(b))
	}
	for _, frames := range []int64{1, 715827873, 715827874, 715827882, 715827883, 1 << 33} { // around 2³² bytes
		head := wav.Header(f, frames)
		r, err := wav.New(bytes.NewReader(head), int64(len(head))+6*frames)
		if err != nil || int64(r.Frames()) != frames || r.Format() != f {
			t.Errorf("%d frames: %v", frames, err)
		}
		if want := 6*frames+int64(len(head))-8 >= 0xFFFFFFFF; (string(head[:4]) == "RF64") != want {
			t.Errorf("%d frames: %s", frames, head[:4])
		}
	}
}

func BenchmarkRead(b *testing.B) {
	for _, f := range []pcm.Format{{Rate: 96000, Channels: 2, Bits: 16}, {Rate: 96000, Channels: 2, Bits: 24}, {Rate: 96000, Channels: 2, Bits: 32, Float: true}} {
		b.Run(fmt.Sprint(f.Bits), func(b *testing.B) {
			const frames = 1 << 20
			head := wav.Header(f, frames)
			data := append(head, make([]byte, frames*f.Channels*f.Bits/8)...)
			r, err := wav.New(bytes.NewReader(data), int64(len(data)))
			if err != nil {
				b.Fatal(err)
			}
			dst := pcm.Planes(2, 1<<15)
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			for b.Loop() {
				for from := 0; from < frames; from += 1 << 15 {
					if _, err := r.ReadFrames(dst, from); err != nil && err != io.EOF {
						b.Fatal(err)
					}
				}
			}
		})
	}
}

func BenchmarkWrite(b *testing.B) {
	for _, f := range []pcm.Format{{Rate: 96000, Channels: 2, Bits: 16}, {Rate: 96000, Channels: 2, Bits: 24}, {Rate: 96000, Channels: 2, Bits: 32, Float: true}} {
		b.Run(fmt.Sprint(f.Bits), func(b *testing.B) {
			w, err := wav.Create(filepath.Join(b.TempDir(), "a.wav"), f, nil)
			if err != nil {
				b.Fatal(err)
			}
			defer w.Abort()
			block := pcm.Planes(2, 1<<15)
			b.SetBytes(int64(2 << 15 * f.Bits / 8))
			for b.Loop() {
				if err := w.Write(block); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A note changes the file and its hash but no sample; its chunk has even length and counts in the size of the file.
func TestANoteChangesNoSample(t *testing.T) {
	want := words(cd, 101)
	var files [][]byte
	for _, note := range []string{"", "odd", "even"} {
		data := written(t, want.Channels, cd, pcm.NewPlainQuantizer(16), note)
		if size := int(binary.LittleEndian.Uint32(data[4:])); size != len(data)-8 || len(data)%2 == 1 || !bytes.Contains(data, []byte(note)) {
			t.Errorf("note %q: %d bytes, %d by the header", note, len(data), size+8)
		}
		got, err := decoded(data)
		if err != nil {
			t.Fatal(err)
		}
		same(t, note, got, want)
		files = append(files, data)
	}
	if bytes.Equal(files[0], files[1]) || bytes.Equal(files[1], files[2]) {
		t.Error("files of different notes are equal")
	}
}
