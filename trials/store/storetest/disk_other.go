//go:build !linux

package storetest

import "testing"

// Disk skips the test: a small disk is mounted on Linux only.
func Disk(t testing.TB, _ int) (dir string, readOnly func()) {
	t.Helper()
	t.Skip("NOT TESTED: a small disk is mounted on Linux alone")
	return "", nil
}

// Resize does nothing: see Disk.
func Resize(testing.TB, string, int) {}

// Used is 0: see Disk.
func Used(testing.TB, string) int { return 0 }
