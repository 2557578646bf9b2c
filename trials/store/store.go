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
	// ErrNotStudy is wrapped where a folder holds no study, or a database does not hold the folder's.
	ErrNotStudy = errors.New("not a study")
	// ErrGone is wrapped where the record that was opened is no longer in the study's folder: it was deleted, moved or exchanged.
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
	// ReadOnly says that nothing can be written: the schema is up to date then.
	ReadOnly bool
}

// Database is what one database does its own way.
type Database interface {
	// Migrations returns the steps that make the schema, in order. One that was merged is never edited.
	Migrations() ([]string, error)
	// Version returns how many of them were applied.
	Version(ctx context.Context, q Querier) (int, error)
	// SetVersion notes that the first n of them were applied.
	SetVersion(ctx context.Context, tx *sql.Tx, n int) error
	// Alone makes tx the only transaction of this kind on the study until it ends; others wait.
	Alone(ctx context.Context, tx *sql.Tx) error
	// Larger names the SQL function that returns the larger of two values.
	Larger() string
	// Translate wraps ErrExists or ErrNotFound where err is a broken constraint, by its code.
	Translate(err error) error
	// Scrub removes from the database's files what no row holds any more.
	Scrub(ctx context.Context, db *sql.DB) error
	// Check returns what the database's own check of its files finds amiss.
	Check(ctx context.Context, db *sql.DB) ([]string, error)
	// Lock takes a listener for one session until release is called or the process ends; ErrBusy where another has them.
	Lock(ctx context.Context, db *sql.DB, listener string) (release func() error, err error)
	// Present returns ErrGone, wrapped, where what was opened is no longer what the study's folder holds.
	Present() error
	// Identity names the record that was opened, so that a copy of it, made by whatever means, bears another name; "" where
	// that cannot be told.
	Identity(ctx context.Context, q Querier) (string, error)
	// Discard removes the whole record.
	Discard(ctx context.Context, db *sql.DB) error
}

// Querier asks for one row: a database or a transaction.
type Querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// Study says what a study is.
type Study struct {
	ID      string    `json:"id"`
	Title   string    `json:"title"`
	Created time.Time `json:"created"`
	// OriginKey is the public key (X25519) of the site whose kit this is; nil for a study of one's own.
	OriginKey []byte `json:"-"`
}

// Open opens a study and brings its schema up to date; it closes the database where that fails.
func Open(ctx context.Context, c Config) (*Store, error) {
	s := &Store{db: c.DB, database: c.Database, dir: c.Dir, now: c.Now, readOnly: c.ReadOnly}
	if err := s.migrate(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open the study in %q: %w", c.Dir, err), s.Close())
	}
	return s, nil
}

// Create is Open for a new record: it keeps in it what the study is. Where of has no ID, one is drawn. What was begun is
// discarded where that fails.
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

// Check returns what the database's own check of its files finds amiss.
func (s *Store) Check(ctx context.Context) ([]string, error) { return s.database.Check(ctx, s.db) }

// Discard removes the record of a study that was just created, and closes it; the folder is left to the caller.
func (s *Store) Discard(ctx context.Context) error {
	return errors.Join(s.database.Discard(ctx, s.db), s.db.Close())
}

// Dir returns the study's folder.
func (s *Store) Dir() string { return s.dir }

// Path returns the place of a file of the study on this machine.
func (s *Store) Path(relative string) string {
	return filepath.Join(s.dir, filepath.FromSlash(relative))
}

// Lock takes the study's folder, and the listener wherever else the study is open, for one listening session until
// release is called or the process ends, however it ends. It returns ErrBusy where another process has one of them.
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

// Identity names the record that is open: moved within its file system it keeps its name, a copy bears another; "" where that
// cannot be told.
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
