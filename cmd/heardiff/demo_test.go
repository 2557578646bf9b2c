package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A demonstration that does not come to its end leaves no folder behind; in a folder that holds other files none is
// begun, and the files stay.
func TestADemonstrationThatFailsLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	stopped, stop := context.WithCancel(context.Background())
	stop()
	made := filepath.Join(dir, "made")
	var out, errs bytes.Buffer
	if code := run(stopped, []string{"demo", "--dir", made}, strings.NewReader(""), &out, &errs); code != exitInterrupted {
		t.Errorf("exit %d: %s", code, errs.String())
	}
	if _, err := os.Stat(made); !os.IsNotExist(err) {
		t.Errorf("left behind: %v", err)
	}

	theirs := filepath.Join(dir, "theirs", "notes.txt")
	must(t, os.Mkdir(filepath.Dir(theirs), 0o700))
	must(t, os.WriteFile(theirs, []byte("mine"), 0o600))
	command(t, 3, "demo", "--dir", filepath.Dir(theirs))
	if kept, err := os.ReadFile(theirs); err != nil || string(kept) != "mine" {
		t.Errorf("%q, %v", kept, err)
	}
}

// A kill before the folder is marked leaves a folder that the next demonstration may use; half a mark counts as somebody else's file.
func TestADemonstrationThatWasKilledAtItsBeginningIsMadeAnew(t *testing.T) {
	dir := t.TempDir()
	must(t, os.WriteFile(filepath.Join(dir, ".heardiff-00ff"), []byte(demoText[:9]), 0o600))
	must(t, clearDemo(dir))
	must(t, markDemo(dir))
	must(t, clearDemo(dir))
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Errorf("an earlier demonstration is still there: %v", err)
	}
}
