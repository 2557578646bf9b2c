package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"heardiff/playback/flac"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

var errNotAudio = errors.New("neither a WAV nor a FLAC file")

// audioFile is recorded audio open for reading.
type audioFile interface {
	pcm.Reader
	io.Closer
}

// open opens an audio file, WAV or FLAC by what it holds and not by its name. Errors name the file and are
// marked rejected (exit 3).
func (a *app) open(ctx context.Context, path string) (audioFile, error) {
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
			err = errNotAudio
		}
	}
	return nil, rejected(unreadable(path, err), openHint(err))
}

// namedFile marks what is found only while reading, such as a sample that is no number, as a fault of the file.
type namedFile struct {
	audioFile
	path string
}

// ReadFrames implements pcm.Reader.
func (f namedFile) ReadFrames(dst [][]float64, from int) (int, error) {
	n, err := f.audioFile.ReadFrames(dst, from)
	if err == nil || err == io.EOF {
		return n, err
	}
	return n, rejected(unreadable(f.path, err), openHint(err))
}

// openWhole opens a file that must be read at any place, and returns its size. Reading it ends with ctx. What is no regular file is refused before
// it is opened: a pipe would wait for ever for somebody to write.
func openWhole(ctx context.Context, path string) (wholeFile, int64, error) {
	info, err := os.Stat(path)
	if err != nil {
		return wholeFile{}, 0, rejected(unreadable(path, err), "")
	}
	if !info.Mode().IsRegular() {
		return wholeFile{}, 0, rejected(fmt.Errorf("%s: not a regular file", path), "")
	}
	f, err := os.Open(path)
	if err != nil {
		return wholeFile{}, 0, rejected(unreadable(path, err), "")
	}
	return wholeFile{f, ctx}, info.Size(), nil
}

// wholeFile is a file that is read until ctx ends.
type wholeFile struct {
	*os.File
	ctx context.Context
}

// ReadAt implements io.ReaderAt.
func (f wholeFile) ReadAt(p []byte, at int64) (int, error) {
	if err := f.ctx.Err(); err != nil {
		return 0, err
	}
	return f.File.ReadAt(p, at)
}

// unreadable words why a file could not be opened, beginning with its name.
func unreadable(path string, err error) error {
	var p *fs.PathError
	if errors.As(err, &p) && p.Path == path {
		err = p.Err // the operation and the path would stand there twice
	}
	return fmt.Errorf("%s: %w", path, err)
}

// openHint returns what to do about a file that could not be opened, or "".
func openHint(err error) string {
	switch {
	case err == errNotAudio:
		return "WAV and FLAC files are read; convert others without resampling"
	case errors.Is(err, wav.ErrSample):
		return "the program that wrote the file overflowed; export it again"
	case errors.Is(err, wav.ErrUnfinished):
		return "the recording was interrupted, or went through a pipe: have the recorder repair it, or save it again with its length"
	case errors.Is(err, wav.ErrTruncated), errors.Is(err, flac.ErrTruncated):
		return "record or copy the file again; a cut capture cannot be compared"
	case errors.Is(err, wav.ErrUnsupported), errors.Is(err, flac.ErrUnsupported):
		return "linear PCM of 16, 24 or 32 bits or 32-bit float, 1 to 8 channels, 8 to 768 kHz"
	}
	return ""
}
