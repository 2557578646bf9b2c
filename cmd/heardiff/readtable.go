package main

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"strings"

	"heardiff/cmd/heardiff/internal/columns"
	"heardiff/playback/audiofile"
	"heardiff/trials/study"
)

// readTable reads the table in the file at path, which may be a pipe; its errors are marked rejected and name the path. A pipe
// into which nobody writes is left when the program is interrupted.
func readTable(ctx context.Context, path string, wanted ...string) (*columns.Table, error) {
	t, err := study.Interruptibly(ctx, func() (*columns.Table, error) {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		return columns.Read(f, wanted...)
	})
	if err != nil {
		return nil, rejected(audiofile.Named(path, err), tableHint(err, wanted))
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
