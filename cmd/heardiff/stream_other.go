//go:build !unix

package main

import (
	"context"
	"io/fs"
	"os"
)

// errNotFolder says that a part of a path is no folder.
var errNotFolder error = fs.ErrNotExist

// openStream opens a device for writing.
func openStream(_ context.Context, path string) (*os.File, error) {
	return os.OpenFile(path, os.O_WRONLY, 0)
}
