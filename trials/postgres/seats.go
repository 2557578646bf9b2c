package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"heardiff/trials/store"
)

// seats holds the locks of the listeners who sit at this machine. They belong to the process's one connection:
// if it is lost, by a restart of the server, say, the next one takes them again before anything else. If somebody else
// has taken one meanwhile, the connection is refused, and with it every further answer.
type seats struct {
	mu   sync.Mutex
	held map[int64]bool
	// pid and since are the server's process behind the last connection, and when it began.
	pid   uint32
	since time.Time
}

// regainTime is how long the server may take to let go of a connection that was lost.
const regainTime = 3 * time.Second

// releaseGrace is how long the server may take to release a lock. A lock that it did not release ends with the connection, and so with the
// process.
const releaseGrace = 250 * time.Millisecond

// pulse is how often a connection that holds a lock is checked. After a restart of the server the lock is free until it is taken again.
const pulse = 500 * time.Millisecond

// attend asks the server for a sign of life until ctx ends or another machine has the lock. So a lost connection is replaced, and its locks
// are taken again, even while there is nothing to write. Failures are reported when the next answer is kept.
func attend(ctx context.Context, db *sql.DB, pulse time.Duration) {
	wait := pulse
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		// Not with ctx, whose end would close a good connection.
		err := db.PingContext(context.WithoutCancel(ctx))
		if errors.Is(err, store.ErrBusy) {
			return
		}
		if wait = pulse; err != nil {
			wait = pulse / 5
		}
	}
}

// take takes a lock, or returns store.ErrBusy.
func (s *seats) take(ctx context.Context, db *sql.DB, key int64) error {
	s.mu.Lock()
	taken := s.held[key]
	s.mu.Unlock()
	if taken {
		return store.ErrBusy
	}
	var got bool
	if err := db.QueryRowContext(ctx, `SELECT pg_try_advisory_lock($1)`, key).Scan(&got); err != nil {
		return fmt.Errorf("lock the listener: %w", err)
	}
	if !got {
		return store.ErrBusy
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.held[key] = true
	return nil
}

// leave releases a lock.
func (s *seats) leave(ctx context.Context, db *sql.DB, key int64) error {
	s.mu.Lock()
	delete(s.held, key)
	s.mu.Unlock()
	// A server that stalls must not keep a listener from leaving: the lock ends with the connection anyway.
	ctx, stop := context.WithTimeout(ctx, releaseGrace)
	defer stop()
	_, err := db.ExecContext(ctx, `SELECT pg_advisory_unlock($1)`, key)
	return err
}

// connected prepares a new connection: it takes again the locks that were held on the last one.
func (s *seats) connected(ctx context.Context, conn *pgx.Conn) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for key := range s.held {
		if err := s.regain(ctx, conn, key); err != nil {
			return err
		}
	}
	s.pid = conn.PgConn().PID()
	return conn.QueryRow(ctx, `SELECT backend_start FROM pg_stat_activity WHERE pid = pg_backend_pid()`).Scan(&s.since)
}

func (s *seats) regain(ctx context.Context, conn *pgx.Conn, key int64) error {
	ctx, stop := context.WithTimeout(ctx, regainTime)
	defer stop()
	for {
		var got bool
		if err := conn.QueryRow(ctx, `SELECT pg_try_advisory_lock($1)`, key).Scan(&got); err != nil {
			if errors.Is(err, context.DeadlineExceeded) {
				return store.ErrBusy
			}
			return fmt.Errorf("lock the listener again: %w", err)
		}
		if got {
			return nil
		}
		// The server may not know yet that the last connection is gone; a process number can be reused, but its start time cannot.
		if _, err := conn.Exec(ctx, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid = $1 AND backend_start = $2`, int32(s.pid), s.since); err != nil {
			return fmt.Errorf("lock the listener again: %w", err)
		}
		select {
		case <-ctx.Done():
			return store.ErrBusy
		case <-time.After(100 * time.Millisecond):
		}
	}
}
