package study

import (
	"encoding/json"
	"io"
	"os"
	"path/filepath"

	"heardiff/trials/store/atomicfile"
)

// loop is the part of an excerpt that is played over and over, in seconds. Trials of the same length share it, whatever they compare:
// whether a loop is kept must not give away which comparison is being played.
type loop struct {
	Length float64 `json:"length_s"`
	From   float64 `json:"from_s"`
	To     float64 `json:"to_s"`
}

// loopFile keeps the loop of a session that is left, in the user's cache. What cannot be kept costs some key presses and nothing
// else, so errors are ignored.
type loopFile string

// maxLoopBytes is far more than a loop's file needs.
const maxLoopBytes = 1 << 10

func (h *Host) loopFile(session string) loopFile {
	base := h.cacheDir()
	if base == "" {
		return ""
	}
	return loopFile(filepath.Join(base, "heardiff", "loops", session+".json"))
}

// read returns what was kept, the zero loop where nothing was.
func (f loopFile) read() loop {
	var l loop
	in, err := atomicfile.OpenRegular(string(f))
	if err != nil {
		return loop{}
	}
	defer in.Close()
	if json.NewDecoder(io.LimitReader(in, maxLoopBytes)).Decode(&l) != nil {
		return loop{}
	}
	return l
}

func (f loopFile) write(l loop) {
	data, err := json.Marshal(l)
	if f == "" || err != nil || os.MkdirAll(filepath.Dir(string(f)), 0o700) != nil {
		return
	}
	_ = atomicfile.Write(string(f), func(w io.Writer) error {
		_, err := w.Write(append(data, '\n'))
		return err
	})
}

// remove forgets the loop: its session has ended.
func (f loopFile) remove() {
	if f != "" {
		_ = os.Remove(string(f))
	}
}
