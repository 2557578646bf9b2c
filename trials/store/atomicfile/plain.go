package atomicfile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// ErrNotPlain is wrapped where a pipe, a device or a folder has the name of a file, or the file is too large to be read.
var ErrNotPlain = errors.New("not a plain file of the size expected")

// OpenRegular opens a regular file and nothing else: a pipe, in a folder that came from elsewhere, would wait for ever for somebody to
// write. The error for anything else wraps ErrNotPlain.
func OpenRegular(path string) (*os.File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: path, Err: ErrNotPlain}
	}
	return os.Open(path)
}

// ReadSmall reads a regular file of at most most bytes. The error for anything else wraps ErrNotPlain.
func ReadSmall(path string, most int64) ([]byte, error) {
	f, err := OpenRegular(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > most {
		return nil, &fs.PathError{Op: "read", Path: path, Err: fmt.Errorf("%w: more than %d bytes", ErrNotPlain, most)}
	}
	return data, nil
}
