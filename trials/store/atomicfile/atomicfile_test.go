package atomicfile_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"heardiff/trials/store/atomicfile"
	"heardiff/trials/store/storetest"
)

// names returns the names of the entries of a folder.
func names(t *testing.T, dir string) string {
	t.Helper()
	return strings.Join(storetest.Names(t, dir), " ")
}

// A temporary that no living process has claimed goes; one that a process is making, and a file that only looks like one, stays.
func TestSweepRemovesWhatTheDeadLeft(t *testing.T) {
	dir := t.TempDir()
	file, err := atomicfile.NewFile(dir)
	if err != nil {
		t.Fatal(err)
	}
	folder, err := atomicfile.NewFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, left := range []string{".incoming-123", ".heardiff-00ff", ".kit-4"} {
		if err := os.MkdirAll(filepath.Join(dir, left, "audio"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for _, own := range []string{".heardiff-notes", ".kit-of-mine", "heardiff-12", ".heardiff-"} {
		if err := os.WriteFile(filepath.Join(dir, own), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	atomicfile.Sweep(dir)
	if err := file.Place(filepath.Join(dir, "file"), false); err != nil {
		t.Error(err)
	}
	if err := folder.Place(filepath.Join(dir, "folder")); err != nil {
		t.Error(err)
	}
	if got := names(t, dir); got != ".heardiff- .heardiff-notes .kit-of-mine file folder heardiff-12" {
		t.Errorf("%s are there", got)
	}
	atomicfile.Sweep(filepath.Join(dir, "nowhere"))
}

// When many processes make and sweep at once, none loses what it makes; when many take one name, one gets it.
func TestManyAtOnce(t *testing.T) {
	dir := t.TempDir()
	var all sync.WaitGroup
	taken := make(chan bool, 200)
	for range 8 {
		all.Add(1)
		go func() {
			defer all.Done()
			for range 25 {
				f, err := atomicfile.NewFile(dir)
				if err != nil {
					t.Error(err)
					return
				}
				atomicfile.Sweep(dir)
				switch err := f.Place(filepath.Join(dir, "one"), false); {
				case err == nil:
					taken <- true
				case !errors.Is(err, fs.ErrExist):
					t.Error(err)
				}
			}
		}()
	}
	all.Wait()
	if len(taken) != 1 || names(t, dir) != "one" {
		t.Errorf("%d took the name; %s are there", len(taken), names(t, dir))
	}
}

func TestAFolderReplacesOnlyAnEmptyOne(t *testing.T) {
	dir := t.TempDir()
	for name, make := range map[string]func(path string) error{
		"a file":   func(path string) error { return os.WriteFile(path, []byte("own"), 0o644) },
		"a folder": func(path string) error { return os.MkdirAll(filepath.Join(path, "own"), 0o755) },
	} {
		path := filepath.Join(dir, name)
		if err := make(path); err != nil {
			t.Fatal(err)
		}
		folder, err := atomicfile.NewFolder(dir)
		if err != nil {
			t.Fatal(err)
		}
		if err := folder.Place(path); !errors.Is(err, fs.ErrExist) {
			t.Errorf("over %s: %v", name, err)
		}
		folder.Discard()
	}
	if err := os.Mkdir(filepath.Join(dir, "empty"), 0o755); err != nil {
		t.Fatal(err)
	}
	folder, err := atomicfile.NewFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := folder.Place(filepath.Join(dir, "empty")); err != nil {
		t.Error(err)
	}
	if got := names(t, dir); got != "a file a folder empty" {
		t.Errorf("%s are there", got)
	}
}

// The parents that were made for a folder go with it, but neither those that were there nor those that hold something else by then.
func TestParentsOfADiscardedFolderAreRemoved(t *testing.T) {
	dir := t.TempDir()
	folder := func() *atomicfile.Folder {
		d, err := atomicfile.NewFolderWithParents(filepath.Join(dir, "a", "b"))
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	folder().Discard()
	if got := names(t, dir); got != "" {
		t.Errorf("left: %s", got)
	}
	d := folder()
	if err := os.WriteFile(filepath.Join(dir, "a", "own"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	d.Discard()
	if got := names(t, filepath.Join(dir, "a")); got != "own" {
		t.Errorf("left: %s", got)
	}
	d = folder()
	if err := d.Place(filepath.Join(dir, "a", "b", "placed")); err != nil {
		t.Fatal(err)
	}
	d.Discard()
	if got := names(t, filepath.Join(dir, "a", "b")); got != "placed" {
		t.Errorf("left: %s", got)
	}
}

func TestATemporaryIsSeenAsItsFolder(t *testing.T) {
	for path, want := range map[string]string{
		"/a/b.wav": "/a/b.wav", "/a/.heardiff-00ff": "/a", "/a/.heardiff-00ff/audio/.b.wav.12.part": "/a", "a/.kit-1/b/.heardiff-2": "a", ".heardiff-0": ".", "/a/.hidden": "/a/.hidden", "/a/.b.wav.7c9d.part": "/a",
	} {
		if got := atomicfile.Visible(path); got != want {
			t.Errorf("%s: %s, want %s", path, got, want)
		}
	}
}
