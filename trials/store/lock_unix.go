//go:build unix

package store

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// lockFolder takes the study's folder until release is called or the process ends, however it ends. It returns ErrBusy
// where another process has it.
func (s *Store) lockFolder() (release func() error, err error) {
	f, err := os.OpenFile(filepath.Join(s.dir, "study.lock"), os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, fmt.Errorf("lock the study: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, ErrBusy
	}
	return f.Close, nil
}
