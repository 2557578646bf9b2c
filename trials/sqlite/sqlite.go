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
	"heardiff/trials/store/atomicfile"
)

// FileName is the name of the database within a study's folder.
const FileName = "study.db"

//go:embed migration/*.sql
var migrations embed.FS

// Create makes a study in dir, which must not hold one; a missing folder is made. The record is built in a folder aside and then
// renamed into place: a failure, or a process that is killed, leaves no study, and Create can be called again.
// It returns store.ErrExists, wrapped, if dir holds a study already.
func Create(ctx context.Context, dir string, of store.Study, now func() time.Time) (*store.Store, error) {
	if _, err := os.Lstat(filepath.Join(dir, FileName)); err == nil {
		return nil, fmt.Errorf("%q: a study is %w", dir, store.ErrExists)
	}
	unmake, err := atomicfile.MakeFolders(filepath.Join(dir, "audio"))
	if err != nil {
		unmake()
		return nil, fmt.Errorf("make the study's folder: %w", err)
	}
	if err := build(ctx, dir, of, now); err != nil {
		unmake()
		return nil, err
	}
	return Open(ctx, dir, now)
}

// build makes the record in a folder aside and renames it into dir once it is complete.
func build(ctx context.Context, dir string, of store.Study, now func() time.Time) error {
	atomicfile.Sweep(dir)
	aside, err := atomicfile.NewFolder(dir)
	if err != nil {
		return fmt.Errorf("make the study's record: %w", err)
	}
	defer aside.Discard()
	c, err := config(aside.Path, now)
	if err != nil {
		return err
	}
	c.Dir = dir // where the study will be
	if err := useLog(ctx, c.DB); err != nil {
		return errors.Join(fmt.Errorf("make the study's record: %w", err), c.DB.Close())
	}
	s, err := store.Create(ctx, c, of)
	if err != nil {
		return err
	}
	// The file must hold the entire record when it is renamed, and the log nothing.
	if err := errors.Join(c.Database.Scrub(ctx, c.DB), s.Close()); err != nil {
		return fmt.Errorf("make the study's record: %w", err)
	}
	err = atomicfile.Take(filepath.Join(aside.Path, FileName), filepath.Join(dir, FileName))
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%q: a study is %w", dir, store.ErrExists)
	}
	return err
}

// Open opens the study in dir and brings its schema up to date. If dir cannot be written, as on read-only media, the study is opened
// for reading. It returns store.ErrNotStudy, wrapped, if dir holds none.
func Open(ctx context.Context, dir string, now func() time.Time) (*store.Store, error) {
	path := filepath.Join(dir, FileName)
	if err := looksLikeStudy(path); err != nil {
		return nil, fmt.Errorf("%q: %w: %w", dir, store.ErrNotStudy, err)
	}
	if !writable(path) {
		return openToRead(ctx, dir, now)
	}
	s, err := open(ctx, dir, now)
	if isReadOnly(err) {
		return openToRead(ctx, dir, now)
	}
	return s, err
}

func open(ctx context.Context, dir string, now func() time.Time) (*store.Store, error) {
	c, err := config(dir, now)
	if err != nil {
		return nil, err
	}
	// Nothing is written before the file is known to be a study's, not even the journal mode.
	if err := identify(ctx, c.DB); err != nil {
		return nil, errors.Join(fmt.Errorf("open the study in %q: %w", dir, err), c.DB.Close())
	}
	if err := useLog(ctx, c.DB); err != nil {
		return nil, errors.Join(fmt.Errorf("open the study in %q: %w", dir, err), c.DB.Close())
	}
	return store.Open(ctx, c)
}

// useLog sets write-ahead mode, which the file remembers.
func useLog(ctx context.Context, db *sql.DB) error {
	var mode string
	if err := db.QueryRowContext(ctx, `PRAGMA journal_mode = WAL`).Scan(&mode); err != nil {
		return err
	}
	if mode != "wal" {
		return fmt.Errorf("the file system takes no write-ahead log: the mode is %q", mode)
	}
	return nil
}

func config(dir string, now func() time.Time) (store.Config, error) {
	q := url.Values{"_pragma": {"busy_timeout(10000)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)"}}
	q.Set("_txlock", "immediate")
	return configWith(dir, dir, q, now)
}

// configWith opens the database in the folder record, for the study in dir.
func configWith(record, dir string, q url.Values, now func() time.Time) (store.Config, error) {
	name := "file:" + (&url.URL{Path: filepath.Join(record, FileName)}).EscapedPath() + "?" + q.Encode()
	db, err := sql.Open("sqlite", name)
	if err != nil {
		return store.Config{}, fmt.Errorf("open the study: %w", err)
	}
	db.SetMaxOpenConns(1) // one writer; readers are quick
	return store.Config{DB: db, Database: &database{dir: record}, Dir: dir, Now: now}, nil
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

// IdentityIn identifies the record in dir, as Identity does for an open store.
func IdentityIn(dir string) (string, error) {
	return fileIdentity(filepath.Join(dir, FileName))
}

// Identity implements store.Database: the file's place on its disk, which a copy does not share.
func (d *database) Identity(context.Context, store.Querier) (string, error) {
	if err := d.Present(); err != nil {
		return "", err
	}
	return IdentityIn(d.dir)
}

// Migrations implements store.Database.
func (*database) Migrations() ([]string, error) { return store.ReadMigrations(migrations, "migration") }

// Version implements store.Database.
func (d *database) Version(ctx context.Context, q store.Querier) (int, error) {
	var n int
	if err := q.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&n); err != nil {
		return 0, err
	}
	return n, d.Present() // the first query has created the file by now
}

// SetVersion implements store.Database.
func (*database) SetVersion(ctx context.Context, tx *sql.Tx, n int) error {
	_, err := tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, n))
	return err
}

// Alone does nothing: every transaction begins as the only writer (_txlock).
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

// Scrub empties the log, which would otherwise hold the old row until SQLite's next checkpoint.
func (*database) Scrub(ctx context.Context, db *sql.DB) error {
	if _, err := db.ExecContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		return fmt.Errorf("empty the log: %w", err)
	}
	return nil
}

// Check implements store.Database by SQLite's own check of every page and index. Rows that somebody edited are found by the audit of
// the record.
func (*database) Check(ctx context.Context, db *sql.DB) ([]string, error) {
	rows, err := db.QueryContext(ctx, `PRAGMA integrity_check(20)`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var found []string
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		if text != "ok" {
			found = append(found, text)
		}
	}
	return found, rows.Err()
}

// Lock does nothing: the folder's own lock is enough.
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
