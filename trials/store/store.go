package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"time"
)

// Errors a caller branches on.
var (
	// ErrNotFound is wrapped where a name or id does not exist in the study.
	ErrNotFound = errors.New("not in the study")
	// ErrExists is wrapped where a name, id or file is already in the study.
	ErrExists = errors.New("already in the study")
	// ErrNotStudy is wrapped if a folder does not contain a study, or a database does not contain the folder's study.
	ErrNotStudy = errors.New("not a study")
	// ErrGone is wrapped if the record that was opened is no longer in the study's folder: it was deleted, moved or replaced.
	ErrGone = errors.New("the study was deleted, moved or exchanged while it was open")
	// ErrBusy is returned by Lock while another heardiff listens in the same folder, or as the same listener.
	ErrBusy = errors.New("another session is open on this study")
	// ErrNewer is wrapped where a study was written by a version of heardiff that is newer than this one.
	ErrNewer = errors.New("the study was written by a newer heardiff")
)

// Store is an open study. It is safe for concurrent use.
type Store struct {
	db       *sql.DB
	database Database
	dir      string
	now      func() time.Time
	readOnly bool
	closed   func()
}

// Config is what a study is opened with.
type Config struct {
	DB       *sql.DB
	Database Database
	Dir      string // the study's folder, which holds the audio
	Now      func() time.Time
	// ReadOnly says that nothing can be written: the schema is then up to date already.
	ReadOnly bool
}

// Database is what differs between databases.
type Database interface {
	// Migrations returns the steps that create the schema, in order. A merged one is never edited.
	Migrations() ([]string, error)
	// Version returns how many of them have been applied.
	Version(ctx context.Context, q Querier) (int, error)
	// SetVersion records that the first n of them have been applied.
	SetVersion(ctx context.Context, tx *sql.Tx, n int) error
	// Alone makes tx the only transaction of this kind on the study until it ends; others wait.
	Alone(ctx context.Context, tx *sql.Tx) error
	// Larger names the SQL function that returns the larger of two values.
	Larger() string
	// Translate wraps ErrExists or ErrNotFound if err is a violated constraint, by its code.
	Translate(err error) error
	// Scrub erases deleted content from the database's files.
	Scrub(ctx context.Context, db *sql.DB) error
	// Check returns the faults that the database's own check of its files finds.
	Check(ctx context.Context, db *sql.DB) ([]string, error)
	// Lock locks a listener for one session until release is called or the process ends; ErrBusy if another session has the
	// lock.
	Lock(ctx context.Context, db *sql.DB, listener string) (release func() error, err error)
	// Present returns ErrGone, wrapped, if the study's folder no longer contains what was opened.
	Present() error
	// Identity identifies the record that was opened, so that any copy of it has another identity; "" if unknown.
	Identity(ctx context.Context, q Querier) (string, error)
	// Discard removes the entire record.
	Discard(ctx context.Context, db *sql.DB) error
}

// Querier asks for one row: a database or a transaction.
type Querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// Study describes a study.
type Study struct {
	ID      string    `json:"id"`
	Title   string    `json:"title"`
	Created time.Time `json:"created"`
	// OriginKey is the public key (X25519) of the site that made the kit; nil if the study is not a kit.
	OriginKey []byte `json:"-"`
}

// Open opens a study and brings its schema up to date; it closes the database if that fails.
func Open(ctx context.Context, c Config) (*Store, error) {
	s := &Store{db: c.DB, database: c.Database, dir: c.Dir, now: c.Now, readOnly: c.ReadOnly}
	if err := s.migrate(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open the study in %q: %w", c.Dir, err), s.Close())
	}
	return s, nil
}

// Create is Open for a new record, and stores the study's description in it. If of has no ID, one is drawn. On an error the new
// record is discarded.
func Create(ctx context.Context, c Config, of Study) (*Store, error) {
	s, err := Open(ctx, c)
	if err != nil {
		return nil, err
	}
	if of.ID == "" {
		var id [16]byte
		if _, err := rand.Read(id[:]); err != nil {
			return nil, errors.Join(fmt.Errorf("make an id: %w", err), s.Discard(ctx))
		}
		of.ID = hex.EncodeToString(id[:])
	}
	err = s.change(ctx, func(c *change) error {
		_, err := c.put("study", "study", `INSERT INTO study (one, id, title, created, origin_key, recorded) VALUES (1, $1, $2, $3, $4, $3)`,
			of.ID, of.Title, s.stamp(), of.OriginKey)
		return err
	})
	if err != nil {
		return nil, errors.Join(err, s.Discard(ctx))
	}
	return s, nil
}

// Close closes the study.
func (s *Store) Close() error {
	err := s.db.Close()
	if s.closed != nil {
		s.closed()
	}
	return err
}

// WhenClosed has f called once the study is closed.
func (s *Store) WhenClosed(f func()) { s.closed = f }

// Check returns the faults that the database's own check of its files finds.
func (s *Store) Check(ctx context.Context) ([]string, error) { return s.database.Check(ctx, s.db) }

// Discard removes the record of a study that was just created, and closes it; the folder is left to the caller.
func (s *Store) Discard(ctx context.Context) error {
	return errors.Join(s.database.Discard(ctx, s.db), s.db.Close())
}

// Dir returns the study's folder.
func (s *Store) Dir() string { return s.dir }

// Path returns the path of a file of the study on this machine.
func (s *Store) Path(relative string) string {
	return filepath.Join(s.dir, filepath.FromSlash(relative))
}

// Lock locks the study's folder, and the listener wherever else the study is open, for one listening session until release is
// called or the process ends, however it ends. It returns ErrBusy if another process has one of the locks.
func (s *Store) Lock(ctx context.Context, listener string) (release func() error, err error) {
	leave, err := s.lockFolder()
	if err != nil {
		return nil, err
	}
	free, err := s.database.Lock(ctx, s.db, listener)
	if err != nil {
		return nil, errors.Join(err, leave())
	}
	return func() error { return errors.Join(free(), leave()) }, nil
}

// Present returns ErrGone, wrapped, where the record that is open is no longer in the study's folder.
func (s *Store) Present() error { return s.database.Present() }

// Identity identifies the open record: it stays when the record is moved within its file system, and a copy has another; "" if
// unknown.
func (s *Store) Identity(ctx context.Context) (string, error) { return s.database.Identity(ctx, s.db) }

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
