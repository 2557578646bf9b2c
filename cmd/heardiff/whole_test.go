package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
)

func TestAFileIsWrittenWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "page.html")
	must(t, writeLine(path, []byte("old")))
	broken := errors.New("the disk is full")
	err := writeWhole(path, func(w io.Writer) error {
		_, err := w.Write([]byte("new, but cut"))
		return errors.Join(err, broken)
	})
	if !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	if data, err := os.ReadFile(path); err != nil || string(data) != "old\n" || files(t, dir) != "page.html" {
		t.Errorf("after the failure: %q, %v; %s stand there", data, err, files(t, dir))
	}
	must(t, writeLine(path, []byte("new")))
	if data, err := os.ReadFile(path); err != nil || string(data) != "new\n" || files(t, dir) != "page.html" {
		t.Errorf("replaced: %q, %v; %s stand there", data, err, files(t, dir))
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o644 {
		t.Errorf("mode %v, %v: others must be able to read it", info.Mode(), err)
	}
}
