package audiofile_test

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

func written(t *testing.T, name string, clip pcm.Clip) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := wav.Save(path, clip, ""); err != nil {
		t.Fatal(err)
	}
	return path
}

// The name says nothing: a WAV file called .flac is read as what it is.
func TestContentAndNotTheNameDecides(t *testing.T) {
	clip := pcm.NewClip(48000, 1, 100)
	clip.Channels[0][7] = 0.5
	f, err := audiofile.Open(context.Background(), written(t, "take.flac", clip))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got, err := pcm.Load(f, 0, -1)
	if err != nil || got.Channels[0][7] != 0.5 {
		t.Errorf("%v, %v", got.Channels, err)
	}
}

func TestAnErrorNamesTheFileOnceAndItsMend(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "notes.wav")
	if err := os.WriteFile(text, []byte("no audio at all"), 0o600); err != nil {
		t.Fatal(err)
	}
	missing := filepath.Join(dir, "missing.wav")
	for path, want := range map[string]error{text: audiofile.ErrNotAudio, missing: fs.ErrNotExist} {
		_, err := audiofile.Open(context.Background(), path)
		var e *audiofile.Error
		if !errors.As(err, &e) || !errors.Is(err, want) || strings.Count(err.Error(), path) != 1 || !strings.HasPrefix(err.Error(), path) {
			t.Errorf("%s: %v", path, err)
		}
		if (want == audiofile.ErrNotAudio) != (e.Hint() != "") {
			t.Errorf("%s: hint %q", path, e.Hint())
		}
	}
}

// A sample that is no number is found only while the file is read, and is the file's fault as well.
func TestWhatIsFoundWhileReadingNamesTheFile(t *testing.T) {
	clip := pcm.NewClip(48000, 1, 100)
	clip.Channels[0][50] = 0.125
	path := written(t, "take.wav", clip)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := len(data) - 4*50 // frame 50 of 100
	nan := math.Float32bits(float32(math.NaN()))
	for i := range 4 {
		data[at+i] = byte(nan >> (8 * i))
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := audiofile.Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var e *audiofile.Error
	if err := pcm.Verify(f); !errors.As(err, &e) || !errors.Is(err, wav.ErrSample) || e.Path != path {
		t.Errorf("error %v", err)
	}
}
