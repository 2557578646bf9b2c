// Package sqlite keeps a study's record in one SQLite file in the study's folder.
//
// The file runs in write-ahead mode with synchronous=FULL: when a method of the store returns, what it wrote is on disk.
package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	driver "modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"

	"heardiff/trials/store"
)

// FileName is the name of the database within a study's folder.
const FileName = "study.db"

//go:embed migration/*.sql
var migrations embed.FS

// Create makes a study in dir, which must not hold one; the folder is made where it is missing.
// It returns store.ErrExists, wrapped, where a study is there already.
func Create(ctx context.Context, dir string, of store.Study, now func() time.Time) (*store.Store, error) {
	if _, err := os.Stat(filepath.Join(dir, FileName)); err == nil {
		return nil, fmt.Errorf("%q: a study is %w", dir, store.ErrExists)
	}
	if err := os.MkdirAll(filepath.Join(dir, "audio"), 0o755); err != nil {
		return nil, fmt.Errorf("make the study's folder: %w", err)
	}
	c, err := config(dir, now)
	if err != nil {
		return nil, err
	}
	return store.Create(ctx, c, of)
}

// Open opens the study in dir and brings its schema up to date. It returns store.ErrNotStudy, wrapped, where there is none.
func Open(ctx context.Context, dir string, now func() time.Time) (*store.Store, error) {
	if _, err := os.Stat(filepath.Join(dir, FileName)); err != nil {
		return nil, fmt.Errorf("%q: %w: no %s in it", dir, store.ErrNotStudy, FileName)
	}
	c, err := config(dir, now)
	if err != nil {
		return nil, err
	}
	s, err := store.Open(ctx, c)
	if err != nil {
		return nil, err
	}
	if _, err := s.Study(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("%q: %w: %w", dir, store.ErrNotStudy, err), s.Close())
	}
	return s, nil
}

func config(dir string, now func() time.Time) (store.Config, error) {
	q := url.Values{"_pragma": {"busy_timeout(10000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)"}}
	q.Set("_txlock", "immediate")
	name := "file:" + (&url.URL{Path: filepath.Join(dir, FileName)}).EscapedPath() + "?" + q.Encode()
	db, err := sql.Open("sqlite", name)
	if err != nil {
		return store.Config{}, fmt.Errorf("open the study: %w", err)
	}
	db.SetMaxOpenConns(1) // one writer; readers are quick
	return store.Config{DB: db, Database: &database{dir: dir}, Dir: dir, Now: now}, nil
}

// database implements store.Database for a file in dir.
type database struct {
	dir    string
	mu     sync.Mutex
	opened os.FileInfo // of the file when it was first looked at
}

// Present implements store.Database. The first look is taken by Version, before anything is read or written.
func (d *database) Present() error {
	path := filepath.Join(d.dir, FileName)
	now, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("%w: %w", store.ErrGone, err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.opened == nil {
		d.opened = now
	}
	if !os.SameFile(d.opened, now) {
		return fmt.Errorf("%w: %s is another file", store.ErrGone, path)
	}
	return nil
}

// IdentityIn names the record in dir, as Identity of the store does once it is open.
func IdentityIn(dir string) (string, error) {
	info, err := os.Stat(filepath.Join(dir, FileName))
	if err != nil {
		return "", err
	}
	return fileIdentity(info), nil
}

// Identity implements store.Database: the file's place on its disk, which a copy does not share.
func (d *database) Identity(context.Context, store.Querier) (string, error) {
	if err := d.Present(); err != nil {
		return "", err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	return fileIdentity(d.opened), nil
}

// Migrations implements store.Database.
func (*database) Migrations() ([]string, error) { return store.ReadMigrations(migrations, "migration") }

// Version implements store.Database.
func (d *database) Version(ctx context.Context, q store.Querier) (int, error) {
	var n int
	if err := q.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&n); err != nil {
		return 0, err
	}
	return n, d.Present() // it is there: the first query made it
}

// SetVersion implements store.Database.
func (*database) SetVersion(ctx context.Context, tx *sql.Tx, n int) error {
	_, err := tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, n))
	return err
}

// Alone has nothing to do: every transaction begins as the only writer (_txlock).
func (*database) Alone(context.Context, *sql.Tx) error { return nil }

// Larger implements store.Database.
func (*database) Larger() string { return "MAX" }

// Translate implements store.Database.
func (*database) Translate(err error) error {
	var e *driver.Error
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code() {
	case codes.SQLITE_CONSTRAINT_UNIQUE, codes.SQLITE_CONSTRAINT_PRIMARYKEY, codes.SQLITE_CONSTRAINT_ROWID:
		return store.ErrExists
	case codes.SQLITE_CONSTRAINT_FOREIGNKEY:
		return store.ErrNotFound
	}
	return err
}

// Scrub empties the log, which would hold the old row until SQLite next has a reason to write it back.
func (*database) Scrub(ctx context.Context, db *sql.DB) error {
	if _, err := db.ExecContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		return fmt.Errorf("empty the log: %w", err)
	}
	return nil
}

// Lock has nothing to do: whoever has the folder has the study.
func (*database) Lock(context.Context, *sql.DB, string) (func() error, error) {
	return func() error { return nil }, nil
}

// Discard removes the file and its companions.
func (d *database) Discard(_ context.Context, db *sql.DB) error {
	err := db.Close()
	for _, suffix := range []string{"", "-wal", "-shm"} {
		if removed := os.Remove(filepath.Join(d.dir, FileName+suffix)); removed != nil && !errors.Is(removed, os.ErrNotExist) {
			err = errors.Join(err, removed)
		}
	}
	return err
}
