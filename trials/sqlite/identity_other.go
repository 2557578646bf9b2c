//go:build !unix

package sqlite

import "os"

// fileIdentity returns "" for any file that exists: this system does not distinguish files by number.
func fileIdentity(path string) (string, error) {
	_, err := os.Stat(path)
	return "", err
}
