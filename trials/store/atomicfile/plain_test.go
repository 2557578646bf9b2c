package atomicfile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestOnlyASmallPlainFileIsRead(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte(strings.Repeat("a", 32)), 0o600); err != nil {
		t.Fatal(err)
	}
	if data, err := ReadSmall(file, 32); err != nil || len(data) != 32 {
		t.Errorf("%d bytes, error %v", len(data), err)
	}
	for path, want := range map[string]error{file: ErrNotPlain, dir: ErrNotPlain, os.DevNull: ErrNotPlain, filepath.Join(dir, "none"): fs.ErrNotExist} {
		if data, err := ReadSmall(path, 31); !errors.Is(err, want) || data != nil {
			t.Errorf("%s: %d bytes, error %v", path, len(data), err)
		}
	}
}
