// Package postgres keeps a study's record on a PostgreSQL server, for a collection that many share.
//
// Each study has a schema of its own in the database, so that studies can be granted and backed up one by
// one. The study's folder, which holds the audio, names the schema in a file, which never holds the server's address.
// When a method of the store returns, what it wrote is on the server's disk: synchronous_commit is on, and a server that
// runs without fsync is refused.
package postgres

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"heardiff/trials/store"
	"heardiff/trials/store/atomicfile"
)

// FileName is the name of the file, within a study's folder, that names the study's schema.
const FileName = "study.postgres"

// connectTimeout is how long a server may take to accept a connection, unless the address sets connect_timeout.
const connectTimeout = 10 * time.Second

// ErrAddress is wrapped if a text is not the address of a PostgreSQL server. No error repeats the address: it may hold a password.
var ErrAddress = errors.New("no address of a PostgreSQL server")

//go:embed migration/*.sql
var migrations embed.FS

// Server is a parsed address.
type Server struct {
	config  *pgx.ConnConfig
	silence time.Duration // the longest wait for a reply
	pulse   time.Duration // between two checks of a connection that holds a lock
}

// ParseAddress parses an address such as postgres://NAME@HOST:PORT/DATABASE, with parameters after a '?'. The
// connection to another machine is encrypted and the server's certificate checked, unless sslmode says otherwise. The
// usual PG… variables and password file complete it.
func ParseAddress(address string) (Server, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql" {
		return Server{}, fmt.Errorf("%w: a form like postgres://NAME@HOST/DATABASE is wanted", ErrAddress)
	}
	config, err := pgx.ParseConfig(u.String())
	if err != nil {
		return Server{}, fmt.Errorf("%w: a part of it makes no sense", ErrAddress)
	}
	// The host may come from anywhere, a service file too: only the parsed configuration says which it is.
	if q := u.Query(); q.Get("sslmode") == "" && os.Getenv("PGSSLMODE") == "" && mayBeClear(config) {
		q.Set("sslmode", "verify-full")
		if leadsHere(config) {
			q.Set("sslmode", "disable")
		}
		u.RawQuery = q.Encode()
		if config, err = pgx.ParseConfig(u.String()); err != nil {
			return Server{}, fmt.Errorf("%w: a part of it makes no sense", ErrAddress)
		}
	}
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = connectTimeout
	}
	return Server{config, silence, pulse}, nil
}

// local reports whether host is this machine: a socket's folder, "" (the default socket), or a loopback address.
func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "" || strings.HasPrefix(host, "/") || host == "localhost" || ip != nil && ip.IsLoopback()
}

// leadsHere reports whether every host of the address is this machine.
func leadsHere(c *pgx.ConnConfig) bool {
	for _, f := range c.Fallbacks {
		if !local(f.Host) {
			return false
		}
	}
	return local(c.Host)
}

// mayBeClear reports whether a connection without encryption is among those tried.
func mayBeClear(c *pgx.ConnConfig) bool {
	for _, f := range c.Fallbacks {
		if f.TLSConfig == nil {
			return true
		}
	}
	return c.TLSConfig == nil
}

// InClear reports whether the connection goes to another machine and is, or may be, without encryption.
func (s Server) InClear() bool {
	for _, f := range s.config.Fallbacks {
		if f.TLSConfig == nil && !local(f.Host) {
			return true
		}
	}
	return s.config.TLSConfig == nil && !local(s.config.Host)
}

// String names server, database and user, and nothing secret.
func (s Server) String() string {
	return fmt.Sprintf("database %q at %s as %q", s.config.Database, net.JoinHostPort(s.config.Host, fmt.Sprint(s.config.Port)), s.config.User)
}

// Create makes a study with its folder and a schema of its own. It returns store.ErrExists, wrapped, where the folder
// holds a study already. The folder names the schema once the study is complete: a process that is killed before leaves a folder in
// which a study can be made, and on the server a schema that nothing names.
func (s Server) Create(ctx context.Context, dir string, of store.Study, now func() time.Time) (*store.Store, error) {
	path := filepath.Join(dir, FileName)
	exists := fmt.Errorf("%q: a study is %w", dir, store.ErrExists)
	if _, err := os.Lstat(path); err == nil {
		return nil, exists
	}
	unmake, err := atomicfile.MakeFolders(filepath.Join(dir, "audio"))
	if err != nil {
		unmake()
		return nil, fmt.Errorf("make the study's folder: %w", err)
	}
	made, err := s.create(ctx, path, dir, of, now)
	if err != nil {
		unmake()
	}
	if errors.Is(err, fs.ErrExist) { // made meanwhile by another process
		return nil, exists
	}
	return made, err
}

// create makes the study on the server, and then the file that names its schema at path.
func (s Server) create(ctx context.Context, path, dir string, of store.Study, now func() time.Time) (*store.Store, error) {
	atomicfile.Sweep(dir)
	f, err := atomicfile.NewFile(dir)
	if err != nil {
		return nil, fmt.Errorf("make the study's folder: %w", err)
	}
	defer f.Discard()
	var id [8]byte
	if _, err := rand.Read(id[:]); err != nil {
		return nil, fmt.Errorf("make an id: %w", err)
	}
	schema := "heardiff_" + hex.EncodeToString(id[:])
	if _, err := fmt.Fprintln(f, schema); err != nil {
		return nil, fmt.Errorf("make the study's folder: %w", err)
	}
	db, d, err := s.connect(ctx, schema)
	if err != nil {
		return nil, err
	}
	if _, err := db.ExecContext(ctx, `CREATE SCHEMA `+schema); err != nil {
		return nil, errors.Join(fmt.Errorf("make the study's schema in %s: %w", s, cause(err)), db.Close())
	}
	made, err := store.Create(ctx, store.Config{DB: db, Database: d, Dir: dir, Now: now}, of)
	if err != nil {
		return nil, err
	}
	if err := f.Place(path, false); err != nil {
		return nil, errors.Join(fmt.Errorf("make the study's folder: %w", err), made.Discard(ctx))
	}
	return made, nil
}

var schemaForm = regexp.MustCompile(`^heardiff_[0-9a-f]{16}$`)

// Open opens the study whose folder is dir and brings its schema up to date. It returns store.ErrNotStudy, wrapped,
// where the folder names none or the database does not hold it.
func (s Server) Open(ctx context.Context, dir string, now func() time.Time) (*store.Store, error) {
	text, err := atomicfile.ReadSmall(filepath.Join(dir, FileName), 1<<10)
	schema := strings.TrimSpace(string(text))
	if err != nil || !schemaForm.MatchString(schema) {
		return nil, fmt.Errorf("%q: %w: no %s that names a schema in it", dir, store.ErrNotStudy, FileName)
	}
	db, d, err := s.connect(ctx, schema)
	if err != nil {
		return nil, err
	}
	var there bool
	err = db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM pg_namespace WHERE nspname = $1)`, schema).Scan(&there)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("look for the study in %s: %w", s, cause(err)), db.Close())
	}
	if !there {
		return nil, errors.Join(fmt.Errorf("%q: %w of %s: it has no schema %s", dir, store.ErrNotStudy, s, schema), db.Close())
	}
	return store.Open(ctx, store.Config{DB: db, Database: d, Dir: dir, Now: now})
}

// connect opens a connection that sees only the schema, with synchronous commits, and checks that the server uses fsync. A process has
// one connection: a server has as many as there are listeners, and the connection that writes a listener's answers holds the
// listener's lock.
func (s Server) connect(ctx context.Context, schema string) (*sql.DB, store.Database, error) {
	config := s.config.Copy()
	config.DialFunc = dialer(s.silence)
	config.RuntimeParams["search_path"] = schema
	config.RuntimeParams["synchronous_commit"] = "on"
	config.RuntimeParams["application_name"] = "heardiff"
	d := database{schema, &seats{held: map[int64]bool{}}, s.silence, s.pulse}
	db := stdlib.OpenDB(*config, stdlib.OptionAfterConnect(d.seats.connected))
	db.SetMaxOpenConns(1)
	var fsync string
	if err := db.QueryRowContext(ctx, `SHOW fsync`).Scan(&fsync); err != nil {
		return nil, nil, errors.Join(fmt.Errorf("connect to %s: %w", s, cause(err)), db.Close())
	}
	if fsync != "on" {
		return nil, nil, errors.Join(fmt.Errorf("connect to %s: the server runs with fsync off: an answer would not be on its disk when it is said to be kept", s), db.Close())
	}
	return db, d, nil
}
