//go:build !unix

package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// lockFolder takes the study's folder until release is called. It returns ErrBusy where the lock file exists: after a
// crash on this system the file must be removed by hand.
func (s *Store) lockFolder() (release func() error, err error) {
	path := filepath.Join(s.dir, "study.lock")
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return nil, ErrBusy
	}
	if err != nil {
		return nil, fmt.Errorf("lock the study: %w", err)
	}
	return func() error { return errors.Join(f.Close(), os.Remove(path)) }, nil
}
