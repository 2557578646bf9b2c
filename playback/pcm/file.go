package pcm

import (
	"errors"
	"os"
)

// Errors of files of audio, whatever their kind, which the packages that read them wrap.
var (
	// ErrNotRegular: a pipe, a device or a folder has the name of a file.
	ErrNotRegular = errors.New("not a regular file")
	// ErrTruncated: the file ends before the audio that its header announces.
	ErrTruncated = errors.New("the audio is cut short")
	// ErrEmpty: the file is intact but has no frames.
	ErrEmpty = errors.New("the file holds no audio")
)

// OpenFile opens a regular file and returns its size. It returns ErrNotRegular for anything else, without opening it: a pipe would wait
// for ever for somebody to write.
func OpenFile(path string) (*os.File, int64, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, ErrNotRegular
	}
	f, err := os.Open(path)
	return f, info.Size(), err
}
