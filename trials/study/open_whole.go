package study

import (
	"context"
	"os"

	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
)

// OpenWhole opens a file that must be read at any place, and returns its size. Reading it ends with ctx. Anything but a regular file is
// refused before it is opened: a pipe would wait for ever for somebody to write.
func OpenWhole(ctx context.Context, path string) (WholeFile, int64, error) {
	f, size, err := pcm.OpenFile(path)
	if err != nil {
		return WholeFile{}, 0, Rejected(audiofile.Named(path, err), "")
	}
	return WholeFile{f, ctx}, size, nil
}

// WholeFile is a file whose reading ends with a context.
type WholeFile struct {
	*os.File
	ctx context.Context
}

// ReadAt implements io.ReaderAt.
func (f WholeFile) ReadAt(p []byte, at int64) (int, error) {
	if err := f.ctx.Err(); err != nil {
		return 0, err
	}
	return f.File.ReadAt(p, at)
}
