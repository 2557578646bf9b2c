package storetest

import (
	"fmt"
	"path/filepath"
	"syscall"
	"testing"
)

// Disk mounts an empty file system of the given size in bytes for a test, and returns its folder and a function that makes it read-only.
func Disk(t testing.TB, bytes int) (dir string, readOnly func()) {
	t.Helper()
	dir, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	options := fmt.Sprintf("size=%d", bytes)
	if err := syscall.Mount("heardiff-test", dir, "tmpfs", 0, options); err != nil {
		t.Skipf("NOT TESTED: a small disk wants the right to mount one: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir, func() {
		t.Helper()
		if err := syscall.Mount("heardiff-test", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, options); err != nil {
			t.Fatal(err)
		}
	}
}

// Resize changes the size of a Disk.
func Resize(t testing.TB, dir string, bytes int) {
	t.Helper()
	if err := syscall.Mount("heardiff-test", dir, "tmpfs", syscall.MS_REMOUNT, fmt.Sprintf("size=%d", bytes)); err != nil {
		t.Fatal(err)
	}
}

// Used returns how many bytes of a Disk are taken.
func Used(t testing.TB, dir string) int {
	t.Helper()
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		t.Fatal(err)
	}
	return int(s.Blocks-s.Bfree) * int(s.Bsize)
}
