// Package postgres keeps a study's record on a PostgreSQL server, for a collection that many share.
//
// Each study has a schema of its own in the database, so that many can live side by side, be granted and be saved one by
// one. The study's folder, which holds the audio, names the schema in a file; the server's address never stands in it.
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
)

// FileName is the name of the file, within a study's folder, that names the study's schema.
const FileName = "study.postgres"

// connectTimeout is how long a server may take to answer, unless the address says another connect_timeout.
const connectTimeout = 10 * time.Second

// ErrAddress is wrapped for what is no address of a PostgreSQL server. No error repeats the address: it may hold a password.
var ErrAddress = errors.New("no address of a PostgreSQL server")

//go:embed migration/*.sql
var migrations embed.FS

// Server is an address, understood.
type Server struct{ config *pgx.ConnConfig }

// ParseAddress understands an address such as postgres://NAME@HOST:PORT/DATABASE, with parameters after a '?'. The
// connection to another machine is encrypted and the server's certificate checked, unless sslmode says otherwise. What
// the address leaves out comes from the usual PG… variables and password file.
func ParseAddress(address string) (Server, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql" {
		return Server{}, fmt.Errorf("%w: a form like postgres://NAME@HOST/DATABASE is wanted", ErrAddress)
	}
	q := u.Query()
	if q.Get("sslmode") == "" && os.Getenv("PGSSLMODE") == "" {
		q.Set("sslmode", "verify-full")
		if host := firstOf(u.Hostname(), q.Get("host"), os.Getenv("PGHOST")); local(host) {
			q.Set("sslmode", "disable")
		}
		u.RawQuery = q.Encode()
	}
	config, err := pgx.ParseConfig(u.String())
	if err != nil {
		return Server{}, fmt.Errorf("%w: a part of it makes no sense", ErrAddress)
	}
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = connectTimeout
	}
	return Server{config}, nil
}

func firstOf(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}

// local reports whether host is this machine: a socket's folder, nothing (the default socket), or a loopback address.
func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "" || strings.HasPrefix(host, "/") || host == "localhost" || ip != nil && ip.IsLoopback()
}

// InClear reports whether what goes over the network to another machine is not encrypted, or may not be.
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
// holds a study already.
func (s Server) Create(ctx context.Context, dir string, of store.Study, now func() time.Time) (*store.Store, error) {
	if err := os.MkdirAll(filepath.Join(dir, "audio"), 0o755); err != nil {
		return nil, fmt.Errorf("make the study's folder: %w", err)
	}
	path := filepath.Join(dir, FileName)
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if errors.Is(err, os.ErrExist) {
		return nil, fmt.Errorf("%q: a study is %w", dir, store.ErrExists)
	}
	if err != nil {
		return nil, fmt.Errorf("make the study's folder: %w", err)
	}
	made, err := s.create(ctx, f, dir, of, now)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return nil, errors.Join(err, os.Remove(path))
	}
	return made, nil
}

func (s Server) create(ctx context.Context, f *os.File, dir string, of store.Study, now func() time.Time) (*store.Store, error) {
	var id [8]byte
	if _, err := rand.Read(id[:]); err != nil {
		return nil, fmt.Errorf("make an id: %w", err)
	}
	schema := "heardiff_" + hex.EncodeToString(id[:])
	db, err := s.connect(ctx, schema)
	if err != nil {
		return nil, err
	}
	if _, err := db.ExecContext(ctx, `CREATE SCHEMA `+schema); err != nil {
		return nil, errors.Join(fmt.Errorf("make the study's schema in %s: %w", s, cause(err)), db.Close())
	}
	if _, err := fmt.Fprintln(f, schema); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return store.Create(ctx, store.Config{DB: db, Database: database{schema}, Dir: dir, Now: now}, of)
}

var schemaForm = regexp.MustCompile(`^heardiff_[0-9a-f]{16}$`)

// Open opens the study whose folder is dir and brings its schema up to date. It returns store.ErrNotStudy, wrapped,
// where the folder names none or the database does not hold it.
func (s Server) Open(ctx context.Context, dir string, now func() time.Time) (*store.Store, error) {
	text, err := os.ReadFile(filepath.Join(dir, FileName))
	schema := strings.TrimSpace(string(text))
	if err != nil || !schemaForm.MatchString(schema) {
		return nil, fmt.Errorf("%q: %w: no %s that names a schema in it", dir, store.ErrNotStudy, FileName)
	}
	db, err := s.connect(ctx, schema)
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
	return store.Open(ctx, store.Config{DB: db, Database: database{schema}, Dir: dir, Now: now})
}

// connect opens connections that see the schema alone and wait for the disk, and checks that the server has one.
func (s Server) connect(ctx context.Context, schema string) (*sql.DB, error) {
	config := s.config.Copy()
	config.RuntimeParams["search_path"] = schema
	config.RuntimeParams["synchronous_commit"] = "on"
	config.RuntimeParams["application_name"] = "heardiff"
	db := stdlib.OpenDB(*config)
	var fsync string
	if err := db.QueryRowContext(ctx, `SHOW fsync`).Scan(&fsync); err != nil {
		return nil, errors.Join(fmt.Errorf("connect to %s: %w", s, cause(err)), db.Close())
	}
	if fsync != "on" {
		return nil, errors.Join(fmt.Errorf("connect to %s: the server runs with fsync off: an answer would not be on its disk when it is said to be kept", s), db.Close())
	}
	return db, nil
}
