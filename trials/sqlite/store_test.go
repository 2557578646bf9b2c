package sqlite_test

import (
	"context"
	"database/sql"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"

	"heardiff/trials/sqlite"
	"heardiff/trials/store"
	"heardiff/trials/store/storetest"
)

var full = flag.Bool("full", false, "run the whole grids")

func open(ctx context.Context, dir string) (*store.Store, error) {
	return sqlite.Open(ctx, dir, time.Now)
}

func TestMain(m *testing.M) { os.Exit(storetest.Main(m, open)) }

func newStudy(t testing.TB) *store.Store { return newStudyAt(t, time.Now) }

func newStudyAt(t testing.TB, now func() time.Time) *store.Store {
	t.Helper()
	s, err := sqlite.Create(context.Background(), filepath.Join(t.TempDir(), "study"), store.Study{Title: "a title"}, now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func TestStoreInAFile(t *testing.T) {
	kills := 25
	if *full {
		kills = 300
	}
	storetest.Run(t, storetest.Backend{New: newStudyAt, Open: open, Newer: `PRAGMA user_version = 1000`, Kills: kills, Full: *full,
		Raw: func(t testing.TB, s *store.Store) *sql.DB {
			db, err := sql.Open("sqlite", filepath.Join(s.Dir(), sqlite.FileName)+"?_pragma=foreign_keys(1)")
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { db.Close() })
			return db
		}})
}

func TestWhatIsNoStudyIsRefused(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	if _, err := sqlite.Open(ctx, dir, time.Now); !errors.Is(err, store.ErrNotStudy) {
		t.Errorf("an empty folder: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, sqlite.FileName), []byte("this is no database, only a text"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := sqlite.Open(ctx, dir, time.Now); err == nil {
		t.Error("a text file was opened as a study")
	}
	s := newStudy(t)
	if _, err := sqlite.Create(ctx, s.Dir(), store.Study{Title: "again"}, time.Now); !errors.Is(err, store.ErrExists) {
		t.Errorf("a study over a study: %v", err)
	}
}

func BenchmarkCommitOfAnAnswer(b *testing.B) { storetest.BenchmarkCommit(b, newStudyAt) }
