package main

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"strings"

	"heardiff/cmd/heardiff/internal/columns"
	"heardiff/playback/audiofile"
	"heardiff/trials/study"
)

// readTable reads the table in the file at path, see readFile.
func readTable(ctx context.Context, path string, wanted ...string) (*columns.Table, error) {
	return readFile(ctx, path, wanted, func(r io.Reader) (*columns.Table, error) { return columns.Read(r, wanted...) })
}

// readFile reads a table of the columns wanted, in the file at path, which may be a pipe; its errors are marked rejected and name the
// path. A pipe into which nobody writes is left when the program is interrupted.
func readFile[T any](ctx context.Context, path string, wanted []string, read func(io.Reader) (T, error)) (T, error) {
	t, err := study.Interruptibly(ctx, func() (T, error) {
		f, err := os.Open(path)
		if err != nil {
			var none T
			return none, err
		}
		defer f.Close()
		return read(f)
	})
	if err != nil {
		return t, rejected(audiofile.Named(path, err), tableHint(err, wanted))
	}
	return t, nil
}

// tableHint returns what to do about a table that could not be read, or "".
func tableHint(err error, wanted []string) string {
	var p *fs.PathError
	switch {
	case errors.As(err, &p), errors.Is(err, columns.ErrNoTable): // no file, or none that can be read
		return ""
	case errors.Is(err, columns.ErrNotUTF8):
		return "save the table as UTF-8 text, which every spreadsheet and editor offers"
	}
	return "the columns are " + strings.Join(wanted, ",") + ", in any order, separated by commas, semicolons or tabs"
}
