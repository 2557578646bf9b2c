package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// writeWhole puts what write writes at path in one step: a reader finds the old file or the whole new one, and a failure
// leaves nothing behind.
func writeWhole(path string, write func(w io.Writer) error) error {
	if err := fileFits(path); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".heardiff-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	err = write(f)
	if err = errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// fileFits refuses a path at which no file can stand: in a folder that is not there, or where a folder stands.
func fileFits(path string) error {
	const hint = "name a file in a folder that is there, or make the folder first"
	dir := filepath.Dir(path)
	switch info, err := os.Stat(dir); {
	case errors.Is(err, fs.ErrNotExist):
		return rejected(fmt.Errorf("there is no folder %s", dir), hint)
	case err == nil && !info.IsDir():
		return rejected(fmt.Errorf("%s is no folder", dir), hint)
	}
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return rejected(fmt.Errorf("%s is a folder", path), hint)
	}
	return nil
}

// createWAV is wav.Create of a path that was checked.
func createWAV(path string, f pcm.Format, q *pcm.Quantizer) (*wav.Writer, error) {
	if err := fileFits(path); err != nil {
		return nil, err
	}
	return wav.Create(path, f, q)
}

// writeLine is writeWhole of one line, such as a JSON object.
func writeLine(path string, line []byte) error {
	return writeWhole(path, func(w io.Writer) error {
		_, err := w.Write(append(line, '\n'))
		return err
	})
}
