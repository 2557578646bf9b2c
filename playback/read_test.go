package playback_test

import (
	"errors"
	"runtime"
	"testing"

	"heardiff/playback"
	"heardiff/playback/pcm"
)

// A ladder of many doses is held as it is played, four bytes a sample, and no more than one dose in double precision while it is read.
func TestReadHoldsOneClipAtATime(t *testing.T) {
	const n, frames, channels = 24, 48000, 2
	inUse := func() int {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return int(m.HeapAlloc)
	}
	before, single, double := inUse(), 4*frames*channels, 8*frames*channels
	s, err := playback.Read(playback.Config{}, n, func(i int) (pcm.Clip, error) {
		// The presentation before may still be on the stack.
		if held, most := inUse()-before, i*single+double+double/2; held > most {
			t.Errorf("%d bytes are held before presentation %d, want %d at most", held, i, most)
		}
		return pcm.NewClip(48000, channels, frames), nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if held, most := inUse()-before, n*single+double/2; held > most {
		t.Errorf("%d bytes are held, want %d at most", held, most)
	}
	runtime.KeepAlive(s)
}

func TestReadStopsAtTheFirstThatCannotBeRead(t *testing.T) {
	gone, asked := errors.New("gone"), 0
	_, err := playback.Read(playback.Config{}, 5, func(i int) (pcm.Clip, error) {
		if asked++; i == 2 {
			return pcm.Clip{}, gone
		}
		return pcm.NewClip(48000, 1, 4800), nil
	})
	if !errors.Is(err, gone) || asked != 3 {
		t.Errorf("%v after %d", err, asked)
	}
	if _, err := playback.Read(playback.Config{}, 0, nil); err == nil {
		t.Error("nothing to play")
	}
}
