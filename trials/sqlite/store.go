// Package sqlite keeps a study in one SQLite file.
//
// The file runs in write-ahead mode with synchronous=FULL: when a method returns, what it wrote is on disk.
// Exported methods begin, call and commit; the SQL is theirs alone. All paths are relative to the study's folder.
package sqlite

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"time"

	driver "modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"
)

// Errors a caller branches on.
var (
	// ErrNotFound is wrapped where a name or id does not exist in the study.
	ErrNotFound = errors.New("not in the study")
	// ErrExists is wrapped where a name, id or file is already in the study.
	ErrExists = errors.New("already in the study")
	// ErrNotStudy is wrapped by Open for a folder that holds no study.
	ErrNotStudy = errors.New("not a study")
)

// FileName is the name of the database within a study's folder.
const FileName = "study.db"

//go:embed migration/*.sql
var migrations embed.FS

// Store is an open study. It is safe for concurrent use.
type Store struct {
	db  *sql.DB
	dir string
	now func() time.Time
}

// Study says what a study is.
type Study struct {
	ID      string    `json:"id"`
	Title   string    `json:"title"`
	Created time.Time `json:"created"`
	// OriginKey is the public key (X25519) of the site whose kit this is; nil for a study of one's own.
	OriginKey []byte `json:"-"`
}

// Create makes a study in dir, which must not hold one; the folder is made where it is missing.
// It returns ErrExists, wrapped, where a study is there already.
func Create(ctx context.Context, dir, title string, now func() time.Time) (*Store, error) {
	path := filepath.Join(dir, FileName)
	if _, err := os.Stat(path); err == nil {
		return nil, fmt.Errorf("%q: a study is %w", dir, ErrExists)
	}
	if err := os.MkdirAll(filepath.Join(dir, "audio"), 0o755); err != nil {
		return nil, fmt.Errorf("make the study's folder: %w", err)
	}
	s, err := open(ctx, dir, now)
	if err != nil {
		return nil, err
	}
	var id [16]byte
	if _, err := rand.Read(id[:]); err != nil {
		return nil, errors.Join(fmt.Errorf("make an id: %w", err), s.Close())
	}
	err = s.exec(ctx, `INSERT INTO study (one, id, title, created) VALUES (1, ?, ?, ?)`,
		hex.EncodeToString(id[:]), title, s.stamp())
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// Open opens the study in dir and brings its schema up to date. It returns ErrNotStudy, wrapped, where there is none.
func Open(ctx context.Context, dir string, now func() time.Time) (*Store, error) {
	if _, err := os.Stat(filepath.Join(dir, FileName)); err != nil {
		return nil, fmt.Errorf("%q: %w: no %s in it", dir, ErrNotStudy, FileName)
	}
	s, err := open(ctx, dir, now)
	if err != nil {
		return nil, err
	}
	if _, err := s.Study(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("%q: %w: %w", dir, ErrNotStudy, err), s.Close())
	}
	return s, nil
}

func open(ctx context.Context, dir string, now func() time.Time) (*Store, error) {
	q := url.Values{"_pragma": {"busy_timeout(10000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)"}}
	q.Set("_txlock", "immediate")
	name := "file:" + (&url.URL{Path: filepath.Join(dir, FileName)}).EscapedPath() + "?" + q.Encode()
	db, err := sql.Open("sqlite", name)
	if err != nil {
		return nil, fmt.Errorf("open the study: %w", err)
	}
	db.SetMaxOpenConns(1) // one writer; readers are quick
	s := &Store{db: db, dir: dir, now: now}
	if err := s.migrate(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open the study in %q: %w", dir, err), db.Close())
	}
	return s, nil
}

// Close closes the study.
func (s *Store) Close() error { return s.db.Close() }

// Dir returns the study's folder.
func (s *Store) Dir() string { return s.dir }

// Path returns the place of a file of the study on this machine.
func (s *Store) Path(relative string) string {
	return filepath.Join(s.dir, filepath.FromSlash(relative))
}

// migrate applies the embedded migrations that the file has not seen, each in its own transaction.
func (s *Store) migrate(ctx context.Context) error {
	names, err := fs.Glob(migrations, "migration/*.sql")
	if err != nil {
		return err
	}
	slices.Sort(names)
	var have int
	if err := s.db.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&have); err != nil {
		return err
	}
	if have > len(names) {
		return fmt.Errorf("the study was written by a newer heardiff (schema %d, this one knows %d)", have, len(names))
	}
	for i := have; i < len(names); i++ {
		text, err := migrations.ReadFile(names[i])
		if err != nil {
			return err
		}
		err = s.within(ctx, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, string(text)); err != nil {
				return err
			}
			_, err := tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, i+1))
			return err
		})
		if err != nil {
			return fmt.Errorf("%s: %w", names[i], err)
		}
	}
	return nil
}

// within runs f in a transaction and commits it, or rolls it back where f fails.
func (s *Store) within(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	if err := f(tx); err != nil {
		return errors.Join(domain(err), tx.Rollback())
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return nil
}

// exec runs one statement in its own transaction.
func (s *Store) exec(ctx context.Context, query string, args ...any) error {
	_, err := s.db.ExecContext(ctx, query, args...)
	return domain(err)
}

// domain turns the database's constraint codes into the package's errors.
func domain(err error) error {
	var e *driver.Error
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code() {
	case codes.SQLITE_CONSTRAINT_UNIQUE, codes.SQLITE_CONSTRAINT_PRIMARYKEY:
		return ErrExists
	case codes.SQLITE_CONSTRAINT_FOREIGNKEY:
		return ErrNotFound
	}
	return err
}

func (s *Store) stamp() string { return s.now().UTC().Format(time.RFC3339Nano) }

// instant scans RFC 3339 text.
type instant struct{ time.Time }

// Scan implements sql.Scanner.
func (t *instant) Scan(v any) error {
	text, ok := v.(string)
	if !ok {
		return fmt.Errorf("time %v is no text", v)
	}
	var err error
	t.Time, err = time.Parse(time.RFC3339Nano, text)
	return err
}

// list runs a query and collects what scan makes of each row.
func list[T any](ctx context.Context, s *Store, scan func(row scanner) (T, error), query string, args ...any) ([]T, error) {
	rows, err := s.db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []T
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, rows.Err()
}

// find runs a query for one row; what names it in ErrNotFound.
func find[T any](ctx context.Context, s *Store, what string, scan func(row scanner) (T, error), query string, args ...any) (T, error) {
	one, err := scan(s.db.QueryRowContext(ctx, query, args...))
	if errors.Is(err, sql.ErrNoRows) {
		return one, fmt.Errorf("%s: %w", what, ErrNotFound)
	}
	return one, err
}

type scanner interface{ Scan(into ...any) error }

// Study returns the study's id, title and date.
func (s *Store) Study(ctx context.Context) (Study, error) {
	return find(ctx, s, "the study", func(row scanner) (Study, error) {
		var st Study
		var created instant
		err := row.Scan(&st.ID, &st.Title, &created, &st.OriginKey)
		st.Created = created.Time
		return st, err
	}, `SELECT id, title, created, origin_key FROM study`)
}
