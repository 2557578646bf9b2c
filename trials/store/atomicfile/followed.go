package atomicfile

import (
	"fmt"
	"os"
	"path/filepath"
)

// Followed returns the path, absolute and without links; its last parts need not exist.
func Followed(path string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		return real, nil
	}
	if _, err := os.Lstat(path); err == nil {
		return "", fmt.Errorf("%s is a link that leads nowhere", path)
	}
	if filepath.Dir(path) == path {
		return path, nil
	}
	dir, err := Followed(filepath.Dir(path))
	return filepath.Join(dir, filepath.Base(path)), err
}
