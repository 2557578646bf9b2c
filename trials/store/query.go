package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// migrate applies the migrations that the database has not seen, each in its own transaction.
func (s *Store) migrate(ctx context.Context) error {
	steps, err := s.database.Migrations()
	if err != nil {
		return err
	}
	for {
		have, err := s.database.Version(ctx, s.db)
		if err != nil {
			return err
		}
		if have > len(steps) {
			return fmt.Errorf("%w (schema %d, this one knows %d)", ErrNewer, have, len(steps))
		}
		if have == len(steps) {
			return nil
		}
		if err := s.step(ctx, steps[have], have); err != nil {
			return fmt.Errorf("migration %d: %w", have+1, err)
		}
	}
}

func (s *Store) step(ctx context.Context, text string, have int) error {
	return s.within(ctx, func(tx *sql.Tx) error {
		// Another process may have taken this step while this one waited.
		if now, err := s.database.Version(ctx, tx); err != nil || now != have {
			return err
		}
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return err
		}
		return s.database.SetVersion(ctx, tx, have+1)
	})
}

// within runs f in a transaction, one at a time, and commits it, or rolls it back where f fails.
func (s *Store) within(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	if err := s.database.Alone(ctx, tx); err != nil {
		return errors.Join(fmt.Errorf("wait for the study: %w", err), tx.Rollback())
	}
	if err := f(tx); err != nil {
		return errors.Join(s.database.Translate(err), tx.Rollback())
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return nil
}

// reading runs f on the study as it is at one moment, whatever others write meanwhile.
func (s *Store) reading(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: sql.LevelRepeatableRead})
	if err != nil {
		return fmt.Errorf("begin: %w", err)
	}
	return errors.Join(f(tx), tx.Rollback())
}

// exec runs one statement in its own transaction.
func (s *Store) exec(ctx context.Context, query string, args ...any) error {
	_, err := s.db.ExecContext(ctx, query, args...)
	return s.database.Translate(err)
}

// rowsAtOnce is how many rows one statement inserts: a remote database replies once for all of them (judgement, no source;
// no figure depends on it).
const rowsAtOnce = 50

// insertMany inserts rows: into names the table and its columns, values returns the values of a row.
func insertMany[T any](ctx context.Context, tx *sql.Tx, into string, columns int, all []T, values func(T) ([]any, error)) error {
	full := len(all) - len(all)%rowsAtOnce // rows that fill complete statements
	if err := insertBy(ctx, tx, rowsAtOnce, into, columns, all[:full], values); err != nil {
		return err
	}
	return insertBy(ctx, tx, 1, into, columns, all[full:], values)
}

// insertBy is insertMany with n rows per statement; the number of rows is a multiple of n.
func insertBy[T any](ctx context.Context, tx *sql.Tx, n int, into string, columns int, all []T, values func(T) ([]any, error)) error {
	if len(all) == 0 {
		return nil
	}
	insert, err := tx.PrepareContext(ctx, `INSERT INTO `+into+` VALUES `+places(n, columns))
	if err != nil {
		return err
	}
	defer insert.Close()
	for some := range slices.Chunk(all, n) {
		var args []any
		for _, one := range some {
			v, err := values(one)
			if err != nil {
				return err
			}
			args = append(args, v...)
		}
		if _, err := insert.ExecContext(ctx, args...); err != nil {
			return fmt.Errorf("into %s: %w", into, err)
		}
	}
	return nil
}

// places returns numbered placeholders for the values of rows: ($1, $2), ($3, $4), ….
func places(rows, columns int) string {
	var all []string
	for i := range rows {
		var one []string
		for k := range columns {
			one = append(one, fmt.Sprintf("$%d", i*columns+k+1))
		}
		all = append(all, "("+strings.Join(one, ", ")+")")
	}
	return strings.Join(all, ", ")
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

// list runs a query and collects the result of scan for each row.
func list[T any](ctx context.Context, q querier, scan func(row scanner) (T, error), query string, args ...any) ([]T, error) {
	rows, err := q.QueryContext(ctx, query, args...)
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

// scanBody reads a row of one column that holds a T as JSON.
func scanBody[T any](row scanner) (one T, err error) {
	var body string
	if err := row.Scan(&body); err != nil {
		return one, err
	}
	return one, json.Unmarshal([]byte(body), &one)
}

type scanner interface{ Scan(into ...any) error }

// querier asks for rows: a database or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}
