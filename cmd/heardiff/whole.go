package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
)

// writeWhole puts what write writes at path in one step: a reader finds the old file or the whole new one, and a failure
// leaves nothing behind.
func writeWhole(path string, write func(w io.Writer) error) error {
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

// writeLine is writeWhole of one line, such as a JSON object.
func writeLine(path string, line []byte) error {
	return writeWhole(path, func(w io.Writer) error {
		_, err := w.Write(append(line, '\n'))
		return err
	})
}
