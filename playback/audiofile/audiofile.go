// Package audiofile opens recorded audio by what the file holds, and not by its name.
package audiofile

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"heardiff/playback/flac"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// ErrNotAudio says that a file holds no audio that Open reads.
var ErrNotAudio = errors.New("neither a WAV nor a FLAC file")

// File is recorded audio open for reading.
type File interface {
	pcm.Reader
	io.Closer
}

// Error says what is wrong with a file: it could not be opened, is damaged, or is of a kind that is not read.
type Error struct {
	Path string
	Err  error
}

// Error implements error. It begins with the file's name.
func (e *Error) Error() string { return Named(e.Path, e.Err).Error() }

// Unwrap lets errors.Is see the cause.
func (e *Error) Unwrap() error { return e.Err }

// Hint says what to do about the file, "" where nothing is known.
func (e *Error) Hint() string {
	switch {
	case errors.Is(e.Err, ErrNotAudio):
		return "WAV and FLAC files are read; convert others without resampling"
	case errors.Is(e.Err, wav.ErrSample):
		return "the program that wrote the file overflowed; export it again"
	case errors.Is(e.Err, wav.ErrUnfinished):
		return "the recording was interrupted, or went through a pipe: have the recorder repair it, or save it again with its length"
	case errors.Is(e.Err, pcm.ErrTruncated):
		return "record or copy the file again; a cut capture cannot be compared"
	case errors.Is(e.Err, wav.ErrUnsupported), errors.Is(e.Err, flac.ErrUnsupported):
		return "linear PCM of 16, 24 or 32 bits or 32-bit float, 1 to 8 channels, 8 to 768 kHz"
	}
	return ""
}

// Open opens a WAV or FLAC file. Its errors, and those found only while the file is read (a sample that is no number), are of type
// *Error.
func Open(ctx context.Context, path string) (File, error) {
	w, err := wav.Open(path)
	if err == nil {
		return namedFile{w, path}, nil
	}
	if errors.Is(err, wav.ErrNotWAV) {
		var f *flac.File
		if f, err = flac.Open(ctx, path); err == nil {
			return namedFile{f, path}, nil
		}
		if errors.Is(err, flac.ErrNotFLAC) {
			err = ErrNotAudio
		}
	}
	return nil, &Error{path, err}
}

// Pair is two recordings that are compared, open for reading.
type Pair struct{ A, B File }

// OpenPair opens two recordings, see Open.
func OpenPair(ctx context.Context, a, b string) (Pair, error) {
	fa, err := Open(ctx, a)
	if err != nil {
		return Pair{}, err
	}
	fb, err := Open(ctx, b)
	if err != nil {
		fa.Close()
		return Pair{}, err
	}
	return Pair{fa, fb}, nil
}

// Close closes both.
func (p Pair) Close() error { return errors.Join(p.A.Close(), p.B.Close()) }

// namedFile names the file in errors of reading.
type namedFile struct {
	File
	path string
}

// ReadFrames implements pcm.Reader.
func (f namedFile) ReadFrames(dst [][]float64, from int) (int, error) {
	n, err := f.File.ReadFrames(dst, from)
	if err == nil || err == io.EOF {
		return n, err
	}
	return n, &Error{f.path, err}
}

// Named puts a file's name before what is wrong with it, once. A nil err stays nil.
func Named(path string, err error) error {
	if err == nil {
		return nil
	}
	var p *fs.PathError
	if errors.As(err, &p) && p.Path == path {
		err = p.Err // the operation and the path would be named twice
	}
	return fmt.Errorf("%s: %w", path, err)
}
