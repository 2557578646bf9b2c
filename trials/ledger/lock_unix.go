//go:build unix

package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// lock waits for the ledger; it is free again when release is called or the process ends.
func (l *Ledger) lock() (release func() error, err error) {
	f, err := os.OpenFile(filepath.Join(l.dir, ".lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("lock the ledger: %w", err)
	}
	for {
		err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX)
		if !errors.Is(err, syscall.EINTR) {
			break
		}
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("lock the ledger: %w", err), f.Close())
	}
	return f.Close, nil
}
