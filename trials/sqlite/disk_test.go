package sqlite_test

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"heardiff/trials/sqlite"
	"heardiff/trials/store"
	"heardiff/trials/store/storetest"
)

// A study for which there is no room on the disk leaves nothing, whichever write fails, and can be made as soon as there is room.
func TestAStudyThatFindsNoRoomLeavesNothing(t *testing.T) {
	ctx := context.Background()
	disk, _ := storetest.Disk(t, 1<<20)
	failed := 0
	for size := 4096; ; size += 4096 {
		storetest.Resize(t, disk, size)
		dir := filepath.Join(disk, "studies", "new")
		s, err := sqlite.Create(ctx, dir, store.Study{Title: "a title"}, time.Now)
		if err == nil {
			if err := s.Close(); err != nil {
				t.Error(err)
			}
			break
		}
		failed++
		if left := storetest.Names(t, disk); len(left) > 0 {
			t.Fatalf("%d bytes: %v; %v was left", size, err, left)
		}
	}
	if failed < 5 {
		t.Errorf("only %d sizes were too small: the test tests nothing", failed)
	}
}

// A file that is not the record of a study is refused as such, and not a byte of it is changed.
func TestWhatBelongsToAnotherProgramIsLeftAlone(t *testing.T) {
	ctx := context.Background()
	other := func(version string, tables ...string) []byte {
		path := filepath.Join(t.TempDir(), "other.db")
		db, err := sql.Open("sqlite", path)
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range append(tables, `PRAGMA user_version = `+version) {
			if _, err := db.ExecContext(ctx, text); err != nil {
				t.Fatal(err)
			}
		}
		db.Close()
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	own, err := os.ReadFile(filepath.Join(closedStudy(t), sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	withVersion := func(v uint32) []byte {
		data := bytes.Clone(own)
		binary.BigEndian.PutUint32(data[60:], v)
		return data
	}
	for name, data := range map[string][]byte{
		"empty":                        {},
		"a text":                       bytes.Repeat([]byte("only words\n"), 1000),
		"zeroes":                       make([]byte, 8192),
		"another program's":            other("0", `CREATE TABLE notes (text TEXT)`),
		"another's of some version":    other("3", `CREATE TABLE notes (text TEXT)`),
		"another's that has a study":   other("3", `CREATE TABLE study (title TEXT)`),
		"its own of version −1":        withVersion(1<<32 - 1),
		"its own of version 0":         withVersion(0),
		"its own of a version to come": withVersion(1 << 20),
		"the first page of its own":    own[:4096],
	} {
		dir := t.TempDir()
		path := filepath.Join(dir, sqlite.FileName)
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		s, err := sqlite.Open(ctx, dir, time.Now)
		if err == nil {
			s.Close()
			t.Errorf("%s: opened", name)
			continue
		}
		if !errors.Is(err, store.ErrNotStudy) && !errors.Is(err, store.ErrNewer) && !sqlite.IsDamaged(err) {
			t.Errorf("%s: %v", name, err)
		}
		if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, data) || len(storetest.Names(t, dir)) != 1 {
			t.Errorf("%s: changed, or %v are there now: %v", name, storetest.Names(t, dir), err)
		}
	}
}

// closedStudy is a study with a session, closed, and its folder.
func closedStudy(t *testing.T) string {
	t.Helper()
	s := newStudy(t)
	storetest.WithSession(t, s, 8)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return s.Dir()
}

// Each page of the record is zeroed in turn: the record does not open, or is found faulty, or a query of it fails; the program never
// crashes.
func TestAZeroedPageIsFound(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(closedStudy(t), sqlite.FileName)
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.ExecContext(ctx, `VACUUM`); err != nil { // a page that holds nothing can be zeroed without loss
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096
	free := freePages(whole, page)
	for at := 0; at < len(whole); at += page {
		if free[at/page+1] {
			continue
		}
		dir := t.TempDir()
		data := bytes.Clone(whole)
		clear(data[at : at+page])
		if err := os.WriteFile(filepath.Join(dir, sqlite.FileName), data, 0o644); err != nil {
			t.Fatal(err)
		}
		s, err := sqlite.Open(ctx, dir, time.Now)
		if err == nil {
			var amiss []string
			if amiss, err = s.Check(ctx); err == nil && len(amiss) > 0 {
				err = store.ErrNotStudy
			}
			s.Close()
		}
		if !errors.Is(err, store.ErrNotStudy) && !sqlite.IsDamaged(err) {
			t.Errorf("page %d: %v", at/page+1, err)
		}
	}
}

// freePages returns the numbers of the pages that hold nothing: the leaves of the list of free pages, as the file format describes
// it (https://www.sqlite.org/fileformat.html, 1.5).
func freePages(data []byte, page int) map[int]bool {
	free := map[int]bool{}
	number := func(at int) int { return int(binary.BigEndian.Uint32(data[at:])) }
	for trunk := number(32); trunk != 0; {
		at := (trunk - 1) * page
		for i := range number(at + 4) {
			free[number(at+8+4*i)] = true
		}
		trunk = number(at)
	}
	return free
}

// On a disk that can only be read a study opens, with what a killed writer left in the log; nothing can be written, and no copy is left.
func TestReadOnlyMediaOpen(t *testing.T) {
	ctx := context.Background()
	for _, c := range []struct {
		name   string
		closed bool
	}{{"closed", true}, {"its writer died", false}} {
		t.Run(c.name, func(t *testing.T) {
			temporary := t.TempDir()
			t.Setenv("TMPDIR", temporary)
			from := newStudy(t)
			storetest.WithSession(t, from, 8)
			if c.closed {
				if err := from.Close(); err != nil {
					t.Fatal(err)
				}
			}
			disk, readOnly := storetest.Disk(t, 4<<20)
			for _, name := range []string{sqlite.FileName, sqlite.FileName + "-wal"} {
				data, err := os.ReadFile(filepath.Join(from.Dir(), name))
				if err != nil && name == sqlite.FileName {
					t.Fatal(err)
				}
				if err == nil {
					if err := os.WriteFile(filepath.Join(disk, name), data, 0o644); err != nil {
						t.Fatal(err)
					}
				}
			}
			readOnly()
			s, err := sqlite.Open(ctx, disk, time.Now)
			if err != nil {
				t.Fatal(err)
			}
			entries, err := s.Entries(ctx, "s1")
			if err != nil || len(entries) == 0 {
				t.Errorf("%d entries, %v", len(entries), err)
			}
			if amiss, err := s.Check(ctx); err != nil || len(amiss) > 0 {
				t.Errorf("amiss %v, %v", amiss, err)
			}
			if err := s.AddChain(ctx, store.Chain{Name: "new", Role: "source"}); !sqlite.IsReadOnly(err) {
				t.Errorf("a chain was added to what can only be read: %v", err)
			}
			if got := s.Path("audio"); got != filepath.Join(disk, "audio") {
				t.Errorf("its audio is in %s", got)
			}
			if err := s.Close(); err != nil {
				t.Error(err)
			}
			if left := storetest.Names(t, temporary); len(left) > 0 {
				t.Errorf("%v was left", left)
			}
		})
	}
}
