package sqlite_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"heardiff/trials/sqlite"
)

// A study that is removed and copied anew often gets the same file number as before: it is another record all the same, and the sessions of
// the first do not count as missing from it.
func TestAFileThatGetsTheNumberOfARemovedOneIsAnother(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, sqlite.FileName)
	made := func() (os.FileInfo, string) {
		t.Helper()
		if err := os.WriteFile(path, []byte("record"), 0o600); err != nil {
			t.Fatal(err)
		}
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		id, err := sqlite.IdentityIn(dir)
		if err != nil {
			t.Fatal(err)
		}
		return info, id
	}
	for range 20 {
		first, before := made()
		if again, err := sqlite.IdentityIn(dir); err != nil || again != before {
			t.Fatalf("a file is %q, then %q: %v", before, again, err)
		}
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		time.Sleep(20 * time.Millisecond) // the clock of a file system ticks every few milliseconds
		second, after := made()
		if os.SameFile(first, second) {
			if before == after {
				t.Errorf("two files made one after the other are both %q", before)
			}
			return
		}
	}
	t.Skip("this disk does not use numbers again at once")
}
