package sqlite_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/trials/store"
)

// Forgetting also removes what a listener said from the bytes of the files.
func TestForgottenListenerIsInNoFile(t *testing.T) {
	ctx := context.Background()
	s := newStudy(t)
	if err := s.AddListener(ctx, store.Listener{ID: "L9", Transducer: "headphones"}); err != nil {
		t.Fatal(err)
	}
	if !inFolder(t, s.Dir(), "headphones") {
		t.Fatal("what was said is not in the files to begin with: the test tests nothing")
	}
	if err := s.ForgetListener(ctx, "L9"); err != nil {
		t.Fatal(err)
	}
	if inFolder(t, s.Dir(), "headphones") {
		t.Error("what was forgotten is still in the study's files")
	}
}

// inFolder reports whether a file of dir holds text.
func inFolder(t *testing.T, dir, text string) bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "study*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, error %v", len(files), err)
	}
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(data), text) {
			return true
		}
	}
	return false
}
