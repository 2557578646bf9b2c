package sqlite

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// fileIdentity names a file by its device, its number there and, where the file system says, when it was created: the number of a removed
// file is given to another, often at once.
func fileIdentity(path string) (string, error) {
	var at unix.Statx_t
	if err := unix.Statx(unix.AT_FDCWD, path, 0, unix.STATX_INO|unix.STATX_BTIME, &at); err != nil {
		return "", fmt.Errorf("stat %s: %w", path, err)
	}
	name := fmt.Sprintf("file %x:%x", unix.Mkdev(at.Dev_major, at.Dev_minor), at.Ino)
	if at.Mask&unix.STATX_BTIME != 0 {
		name += fmt.Sprintf(":%x.%x", at.Btime.Sec, at.Btime.Nsec)
	}
	return name, nil
}
