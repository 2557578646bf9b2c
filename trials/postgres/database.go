package postgres

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"heardiff/trials/store"
)

// database implements store.Database for a schema.
type database struct {
	schema string
	seats  *seats
	// silence is the longest wait for a reply of the server.
	silence time.Duration
	pulse   time.Duration // see attend; 0: never
}

// Migrations implements store.Database.
func (database) Migrations() ([]string, error) { return store.ReadMigrations(migrations, "migration") }

// Version implements store.Database.
func (database) Version(ctx context.Context, q store.Querier) (int, error) {
	var begun bool
	if err := q.QueryRowContext(ctx, `SELECT to_regclass('version') IS NOT NULL`).Scan(&begun); err != nil || !begun {
		return 0, err
	}
	var n int
	err := q.QueryRowContext(ctx, `SELECT migrations FROM version`).Scan(&n)
	return n, err
}

// SetVersion implements store.Database.
func (database) SetVersion(ctx context.Context, tx *sql.Tx, n int) error {
	_, err := tx.ExecContext(ctx, `UPDATE version SET migrations = $1`, n)
	return err
}

// Alone waits for the study's lock. Each later statement sees what was committed before it (read committed), and so all
// that earlier holders of the lock wrote. It repeats the request every few seconds, so that a server that still replies is never silent.
func (d database) Alone(ctx context.Context, tx *sql.Tx) error {
	wait := fmt.Sprintf(`SAVEPOINT turn; SET LOCAL lock_timeout = %d; SELECT pg_advisory_xact_lock(%d); SET LOCAL lock_timeout = 0`,
		(d.silence / 4).Milliseconds(), d.lockKey("study"))
	for {
		_, err := tx.ExecContext(ctx, wait)
		var e *pgconn.PgError
		if !errors.As(err, &e) || e.Code != lockNotAvailable {
			return err
		}
		if _, err := tx.ExecContext(ctx, `ROLLBACK TO SAVEPOINT turn`); err != nil {
			return err
		}
	}
}

// lockKey returns the number of the server's lock of that name in this study.
func (d database) lockKey(what string) int64 {
	sum := sha256.Sum256([]byte(d.schema + "\x00" + what))
	return int64(binary.BigEndian.Uint64(sum[:]))
}

// Larger implements store.Database.
func (database) Larger() string { return "GREATEST" }

// The constraints that callers distinguish, by their SQLSTATE.
const (
	uniqueViolation     = "23505"
	foreignKeyViolation = "23503"
	lockNotAvailable    = "55P03"
)

// Translate implements store.Database.
func (database) Translate(err error) error {
	var e *pgconn.PgError
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code {
	case uniqueViolation:
		return store.ErrExists
	case foreignKeyViolation:
		return store.ErrNotFound
	}
	return err
}

// Scrub rewrites the tables that may hold the old rows, without them. The server's log and its backups may still hold them.
func (database) Scrub(ctx context.Context, db *sql.DB) error {
	for _, table := range []string{"listeners", "record"} {
		if _, err := db.ExecContext(ctx, `VACUUM FULL `+table); err != nil {
			return fmt.Errorf("write the table anew: %w", err)
		}
	}
	return nil
}

// Check finds nothing: the server looks after its own files.
func (database) Check(context.Context, *sql.DB) ([]string, error) { return nil, nil }

// Lock holds a lock of the server on this process's connection: it ends with the process. If the connection is lost, the lock is taken
// again at once, without waiting for the next answer.
func (d database) Lock(ctx context.Context, db *sql.DB, listener string) (func() error, error) {
	key := d.lockKey("listener " + listener)
	if err := d.seats.take(ctx, db, key); err != nil {
		return nil, err
	}
	attended, stop := context.WithCancel(ctx)
	if d.pulse > 0 {
		go attend(attended, db, d.pulse)
	}
	return func() error {
		stop()
		return d.seats.leave(context.WithoutCancel(ctx), db, key)
	}, nil
}

// Present implements store.Database: answers go to the server, whatever becomes of the folder.
func (database) Present() error { return nil }

// Identity implements store.Database: the object numbers of the database and of the schema. A schema restored from a backup gets
// another number.
func (d database) Identity(ctx context.Context, q store.Querier) (string, error) {
	var schema, in int64
	err := q.QueryRowContext(ctx, `SELECT n.oid::bigint, d.oid::bigint FROM pg_namespace n, pg_database d
		WHERE n.nspname = $1 AND d.datname = current_database()`, d.schema).Scan(&schema, &in)
	if err != nil {
		return "", fmt.Errorf("identify the study: %w", err)
	}
	return fmt.Sprintf("schema %d of database %d, %s", schema, in, d.schema), nil
}

// Discard implements store.Database.
func (d database) Discard(ctx context.Context, db *sql.DB) error {
	_, err := db.ExecContext(context.WithoutCancel(ctx), `DROP SCHEMA IF EXISTS `+d.schema+` CASCADE`)
	return err
}

// cause returns the message of the server or of the network: one line, without the address that the driver repeats.
func cause(err error) error {
	var server *pgconn.PgError
	if errors.As(err, &server) {
		return errors.New(server.Message)
	}
	if errors.Is(err, ErrSilent) {
		return ErrSilent
	}
	var network *net.OpError
	if errors.As(err, &network) {
		return network.Err
	}
	return err
}
