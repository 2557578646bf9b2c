//go:build !unix

package sqlite

import "os"

// fileIdentity returns "" of a file that is there: this system does not tell files apart by number.
func fileIdentity(path string) (string, error) {
	_, err := os.Stat(path)
	return "", err
}
