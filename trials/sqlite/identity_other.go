//go:build !unix

package sqlite

import "os"

// fileIdentity returns "": this system does not tell files apart by number.
func fileIdentity(os.FileInfo) string { return "" }
