package pcm_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"heardiff/playback/pcm"
)

// Anything but a regular file is refused, and a file comes with its size.
func TestAFolderIsNoFile(t *testing.T) {
	dir := t.TempDir()
	if _, _, err := pcm.OpenFile(dir); !errors.Is(err, pcm.ErrNotRegular) {
		t.Errorf("a folder: %v", err)
	}
	if _, _, err := pcm.OpenFile(filepath.Join(dir, "absent")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("nothing: %v", err)
	}
	path := filepath.Join(dir, "three")
	if err := os.WriteFile(path, []byte("abc"), 0o600); err != nil {
		t.Fatal(err)
	}
	f, size, err := pcm.OpenFile(path)
	if err != nil || size != 3 {
		t.Fatalf("%d bytes, %v", size, err)
	}
	f.Close()
}
