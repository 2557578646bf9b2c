package wav_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

func TestWhatIsWrittenComesBack(t *testing.T) {
	for _, f := range []pcm.Format{
		{Rate: 44100, Channels: 1, Bits: 24},
		{Rate: 48000, Channels: 2, Bits: 16},
		{Rate: 768000, Channels: 8, Bits: 24},
		{Rate: 8000, Channels: 3, Bits: 32, Float: true},
	} {
		path := filepath.Join(t.TempDir(), "a.wav")
		want := words(f, 12345)
		var q *pcm.Quantizer
		if !f.Float {
			q = pcm.NewPlainQuantizer(f.Bits)
		}
		w, err := wav.Create(path, f, q)
		if err != nil {
			t.Fatal(err)
		}
		if err := pcm.Blocks(want, 1000, func(b [][]float64, _ int) error { return w.Write(b) }); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		r, err := wav.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		if r.Format() != f || r.Frames() != want.Len() {
			t.Fatalf("wrote %v, %d frames; read %v, %d frames", f, want.Len(), r.Format(), r.Frames())
		}
		got, err := pcm.Load(r, 0, -1)
		if err != nil {
			t.Fatal(err)
		}
		same(t, f.String(), got, want)
	}
}

// written returns the bytes of the file that a Writer makes of samples.
func written(t *testing.T, channels [][]float64, f pcm.Format, q *pcm.Quantizer, note string) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.wav")
	w, err := wav.Create(path, f, q)
	if err != nil {
		t.Fatal(err)
	}
	if note != "" {
		w.Note(note)
	}
	if err := errors.Join(w.Write(channels), w.Close()); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// words returns a clip of pseudo-random samples that f can hold exactly, extremes first.
func words(f pcm.Format, frames int) pcm.Clip {
	c := pcm.NewClip(f.Rate, f.Channels, frames)
	state := uint32(1)
	for i := range frames {
		for k := range c.Channels {
			state = state*1664525 + 1013904223
			switch {
			case i == 0:
				c.Channels[k][i] = -1
			case i == 1:
				c.Channels[k][i] = 1 - math.Ldexp(1, 1-min(f.Bits, 24))
			case f.Float:
				c.Channels[k][i] = float64(float32(int32(state)) * 0x1p-29) // up to ±4
			default:
				c.Channels[k][i] = math.Ldexp(float64(int32(state)>>(32-f.Bits)), 1-f.Bits)
			}
		}
	}
	return c
}

func same(t *testing.T, name string, got, want pcm.Clip) {
	t.Helper()
	if len(got.Channels) != len(want.Channels) || got.Len() != want.Len() {
		t.Fatalf("%s: %d×%d samples, want %d×%d", name, len(got.Channels), got.Len(), len(want.Channels), want.Len())
	}
	for c := range want.Channels {
		for i, v := range want.Channels[c] {
			if got.Channels[c][i] != v {
				t.Fatalf("%s: channel %d frame %d is %v, want %v", name, c+1, i, got.Channels[c][i], v)
			}
		}
	}
}
