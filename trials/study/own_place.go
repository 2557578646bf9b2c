package study

import (
	"fmt"
	"path/filepath"
	"strings"

	"heardiff/trials/store/atomicfile"
)

// OwnPlace reports whether the path is the place of a study's record or of its audio, whether or not anything exists there. Links must have
// been followed.
func OwnPlace(path string) bool {
	for dir := filepath.Dir(path); ; dir = filepath.Dir(dir) {
		rest, err := filepath.Rel(dir, path)
		first, _, _ := strings.Cut(strings.ToLower(filepath.ToSlash(rest)), "/") // some file systems ignore case
		if err == nil && (first == "audio" || strings.HasPrefix(first, "study.")) && HoldsStudy(dir) {
			return true
		}
		if dir == filepath.Dir(dir) {
			return false
		}
	}
}

// outsideOthers refuses a folder for a new study among the files of another.
func outsideOthers(dir string) error {
	path, err := atomicfile.Followed(dir)
	if err != nil {
		return Misused(err)
	}
	if OwnPlace(path) {
		return Blamed(Misuse, fmt.Errorf("%s is a place for a study's own files", dir), "name a folder elsewhere")
	}
	return nil
}
