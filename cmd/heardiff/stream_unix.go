//go:build unix

package main

import (
	"context"
	"errors"
	"os"
	"syscall"
	"time"
)

// errNotFolder says that a part of a path is no folder.
var errNotFolder error = syscall.ENOTDIR

// openStream opens a pipe or a device for writing. A pipe that nobody reads is waited for until ctx ends.
func openStream(ctx context.Context, path string) (*os.File, error) {
	for {
		f, err := os.OpenFile(path, os.O_WRONLY|syscall.O_NONBLOCK, 0)
		if !errors.Is(err, syscall.ENXIO) {
			return f, err
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}
