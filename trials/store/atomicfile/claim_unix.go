//go:build unix

package atomicfile

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"syscall"
	"time"
)

// claimed claims the file or folder at path until the claim is released or the process ends, however it ends. It reports whether path is
// still there and nobody else's. mine says that this process has just made it: on a file system without locks it is then claimed all the
// same, and nothing else ever is.
func claimed(path string, mine bool) (claim, bool, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return claim{}, false, nil
	}
	if err != nil {
		return claim{}, mine, nil
	}
	how := syscall.LOCK_EX
	if !mine {
		how |= syscall.LOCK_NB
	}
	if err := lock(f, how); err != nil {
		f.Close()
		return claim{}, mine, nil
	}
	// Whoever had it before may have removed it.
	here, err := os.Lstat(path)
	held, err2 := f.Stat()
	if err != nil || err2 != nil || !os.SameFile(here, held) {
		f.Close()
		return claim{}, false, nil
	}
	return claim{f}, true, nil
}

func lock(f *os.File, how int) error {
	for {
		if err := syscall.Flock(int(f.Fd()), how); err != syscall.EINTR {
			return err
		}
	}
}

// Hold keeps other processes that ask for the same folder waiting, until release is called or this process ends. Waiting ends with ctx. On
// a file system without locks nobody waits.
func Hold(ctx context.Context, dir string) (release func(), err error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	for {
		err := lock(f, syscall.LOCK_EX|syscall.LOCK_NB)
		if err != syscall.EWOULDBLOCK {
			return func() { f.Close() }, nil
		}
		select {
		case <-ctx.Done():
			f.Close()
			return nil, ctx.Err()
		case <-time.After(20 * time.Millisecond):
		}
	}
}
