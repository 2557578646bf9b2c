package sqlite_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"heardiff/trials"
	"heardiff/trials/sqlite"
	"heardiff/trials/store"
	"heardiff/trials/store/storetest"
)

// An answer is never reported as saved if the study is no longer in its place.
func TestAnAnswerIntoAStudyThatIsGoneIsRefused(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(dir string) error
	}{
		{"deleted", os.RemoveAll},
		{"moved", func(dir string) error { return os.Rename(dir, dir+" moved") }},
		{"exchanged for a copy", func(dir string) error {
			if err := os.Rename(dir, dir+" moved"); err != nil {
				return err
			}
			return os.CopyFS(dir, os.DirFS(dir+" moved"))
		}},
		{"its database deleted", func(dir string) error { return os.Remove(filepath.Join(dir, sqlite.FileName)) }},
	} {
		s := newStudy(t)
		session := storetest.WithSession(t, s, 4)
		storetest.Answer(t, session)
		if err := c.do(s.Dir()); err != nil {
			t.Fatal(err)
		}
		session.Heard(trials.LabelX, 1)
		session.Heard(trials.LabelA, 1)
		if err := session.Ask(trials.AnswerA, 0); err != nil {
			t.Fatal(err)
		}
		if err := session.Confirm(); !errors.Is(err, store.ErrGone) || session.View().Trial != 2 {
			t.Errorf("%s: error %v, now at trial %d", c.name, err, session.View().Trial)
		}
	}
}

// A record keeps its identity when it is moved, and a copy has another.
func TestACopyBearsAnotherName(t *testing.T) {
	ctx, s := context.Background(), newStudy(t)
	name := func(dir string) string {
		t.Helper()
		again, err := open(ctx, dir)
		if err != nil {
			t.Fatal(err)
		}
		defer again.Close()
		id, err := again.Identity(ctx)
		if err != nil || id == "" {
			t.Fatalf("%q, %v", id, err)
		}
		return id
	}
	first, moved, copied := name(s.Dir()), s.Dir()+" moved", s.Dir()+" copied"
	if err := errors.Join(s.Close(), os.CopyFS(copied, os.DirFS(s.Dir())), os.Rename(s.Dir(), moved)); err != nil {
		t.Fatal(err)
	}
	if name(moved) != first || name(copied) == first {
		t.Errorf("first %s, moved %s, copied %s", first, name(moved), name(copied))
	}
}
