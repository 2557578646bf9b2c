//go:build unix && !linux

package sqlite

import (
	"fmt"
	"os"
	"syscall"
)

// fileIdentity names a file by its device and its number there, "" if the system does not say.
func fileIdentity(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	at, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return "", nil
	}
	return fmt.Sprintf("file %x:%x", at.Dev, at.Ino), nil
}
