package atomicfile

import (
	"os"
	"path/filepath"
)

// MakeFolders makes a folder and its missing parents; unmake removes those of them that are empty.
func MakeFolders(dir string) (unmake func(), err error) {
	var missing []string // the innermost first
	for d := dir; d != filepath.Dir(d); d = filepath.Dir(d) {
		if _, err := os.Stat(d); err == nil {
			break
		}
		missing = append(missing, d)
	}
	unmake = func() {
		for _, d := range missing {
			os.Remove(d) // fails, as it should, if something was put into it meanwhile
		}
	}
	return unmake, os.MkdirAll(dir, 0o777)
}
