//go:build unix

package sqlite

import (
	"fmt"
	"os"
	"syscall"
)

// fileIdentity names a file by its device and its number there, "" where the system does not tell.
func fileIdentity(info os.FileInfo) string {
	at, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return ""
	}
	return fmt.Sprintf("file %x:%x", at.Dev, at.Ino)
}
