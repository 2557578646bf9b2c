package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"heardiff/trials"
)

// The record lists everything that was done to the study, each entry bound to the one before by its hash. A row of any other
// table equals what the last entry about it says, or it was edited: see Audit. Write methods therefore run every statement
// that changes a row through a change, which reads the row back and appends the entry in the same transaction:
//
//	s.change(ctx, func(c *change) error {
//		c.why = "..." // the reason of a correction, for its entry
//		_, err := c.put("chain", "chains", `INSERT INTO chains ...`, ...)
//		return err
//	})
//
// A statement whose WHERE excludes unchanged rows appends nothing for them. The journals of sessions have chains of their own,
// so that no answer waits for the record, which holds their heads at each milestone.

// Kinds of entry with a special meaning.
const (
	kindJournal   = "journal"            // the head of a session's journal, at a milestone
	kindListener  = "listener"           // kinds with this prefix contain what listeners said about themselves
	kindForgotten = "listener forgotten" // the bodies of all earlier entries about the listener are emptied
	kindOutcome   = "outcome"
	foundSuffix   = " found" // for a row from before the record was kept
)

// RecordEntry is one entry of a study's record.
type RecordEntry struct {
	Number int `json:"number"` // 1, 2, 3, …
	// At is when it was written, RFC 3339, in UTC.
	At   string `json:"at"`
	Kind string `json:"kind"`
	// Subject identifies what it is about within its kind.
	Subject string `json:"subject"`
	// Body is the new content, as JSON; "" if it was forgotten. It is not hashed itself, but its Digest is: the SHA-256 of the
	// body, hexadecimal.
	Body   string `json:"-"`
	Digest string `json:"digest"`
	// Previous is the Hash of the entry before, Hash the SHA-256 over the JSON of all fields but Body and Hash, hexadecimal.
	Previous string `json:"previous"`
	Hash     string `json:"-"`
}

// Hashed returns the text over which Hash is taken: the JSON of all fields but Body and Hash.
func (e RecordEntry) Hashed() string {
	data, err := json.Marshal(e)
	if err != nil {
		panic("store: an entry that cannot be encoded: " + err.Error()) // plain fields: cannot happen
	}
	return string(data)
}

// hash returns what Hash must be.
func (e RecordEntry) hash() string { return digest(e.Hashed()) }

func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// entryBody is the content of an entry: the new content of a row, or a milestone of a journal.
type entryBody struct {
	// Salt keeps what a listener said about themselves from being guessed from the remaining digest.
	Salt  string `json:"salt,omitempty"`
	Why   string `json:"why,omitempty"`
	Table string `json:"table,omitempty"`
	Row   row    `json:"row,omitempty"`
	// Gone marks a removed row; Row is its last content.
	Gone    bool  `json:"gone,omitempty"`
	Journal *mark `json:"journal,omitempty"`
}

// mark identifies an entry of a session's journal by its hash.
type mark struct {
	Number int              `json:"number"`
	Kind   trials.EntryKind `json:"kind"`
	Hash   string           `json:"hash"`
}

// Head is the newest entry of a record. Written down elsewhere, its hash fixes all that went before.
type Head struct {
	Entries int    `json:"entries"`
	Hash    string `json:"hash"` // "" where no record is kept yet
	// Short is the hash as trials.ShortHead gives it, for the telephone.
	Short string `json:"short"`
}

// Head returns the newest entry of the record.
func (s *Store) Head(ctx context.Context) (Head, error) {
	number, hash, err := newest(ctx, s.db)
	return Head{number, hash, trials.ShortHead(hash)}, err
}

// Heads returns the last entry of every session's journal, by session.
func (s *Store) Heads(ctx context.Context) (map[string]trials.Entry, error) {
	return lastEntries(ctx, s.db)
}

// FindHead returns the entry of the record whose hash equals said, in full or in the short form. It returns ErrNotFound,
// wrapped, if there is none, and the errors of trials.IsHead.
func (s *Store) FindHead(ctx context.Context, said string) (RecordEntry, error) {
	all, err := list(ctx, s.db, scanRecordEntry, selectRecord)
	if err != nil {
		return RecordEntry{}, err
	}
	if _, err := trials.IsHead("", said); err != nil {
		return RecordEntry{}, err
	}
	for _, e := range all {
		if same, err := trials.IsHead(e.Hash, said); same || err != nil {
			return e, err
		}
	}
	return RecordEntry{}, fmt.Errorf("the head given: %w: no entry of its record has this hash", ErrNotFound)
}

const selectRecord = `SELECT number, at, kind, subject, body, digest, previous, hash FROM record ORDER BY number`

func scanRecordEntry(row scanner) (e RecordEntry, err error) {
	err = row.Scan(&e.Number, &e.At, &e.Kind, &e.Subject, &e.Body, &e.Digest, &e.Previous, &e.Hash)
	return e, err
}

func newest(ctx context.Context, q Querier) (number int, hash string, err error) {
	err = q.QueryRowContext(ctx, `SELECT number, hash FROM record ORDER BY number DESC LIMIT 1`).Scan(&number, &hash)
	if err == sql.ErrNoRows {
		return 0, "", nil
	}
	return number, hash, err
}

// change is a transaction whose writes are recorded.
type change struct {
	ctx context.Context
	tx  *sql.Tx
	at  string
	why string // reason for the following entries
	// The newest entry, and those that were added since the transaction began.
	number int
	hash   string
	fresh  []RecordEntry
}

// change runs f in a transaction, one at a time. What f put and removed is in the record when it returns, or nothing is.
func (s *Store) change(ctx context.Context, f func(c *change) error) error {
	return s.within(ctx, func(tx *sql.Tx) error {
		c := &change{ctx: ctx, tx: tx, at: s.stamp()}
		var err error
		if c.number, c.hash, err = newest(ctx, tx); err != nil {
			return err
		}
		if c.number == 0 {
			if err := c.adopt(); err != nil {
				return fmt.Errorf("begin the record: %w", err)
			}
		}
		if err := f(c); err != nil {
			return err
		}
		return c.keep()
	})
}

// put runs an INSERT or UPDATE on a table, which must not end in RETURNING, and records each row that it wrote, as it is
// then. It returns these rows.
func (c *change) put(kind, table, statement string, args ...any) ([]row, error) {
	rows, err := readRows(c.ctx, c.tx, statement+` RETURNING *`, args...)
	for _, r := range rows {
		c.append(kind, tableNamed(table).subject(r), entryBody{Table: table, Row: r})
	}
	return rows, err
}

// remove runs a DELETE on a table, which must not end in RETURNING, and records each row that went. It returns these rows.
func (c *change) remove(kind, table, statement string, args ...any) ([]row, error) {
	rows, err := readRows(c.ctx, c.tx, statement+` RETURNING *`, args...)
	for _, r := range rows {
		c.append(kind, tableNamed(table).subject(r), entryBody{Table: table, Row: r, Gone: true})
	}
	return rows, err
}

// milestone records the head of a session's journal.
func (c *change) milestone(e trials.Entry) {
	c.append(kindJournal, e.Session, entryBody{Journal: &mark{e.Number, e.Kind, e.Hash}})
}

func (c *change) append(kind, subject string, b entryBody) {
	if b.Why = c.why; strings.HasPrefix(kind, kindListener) {
		b.Salt = rand.Text()
	}
	body, err := json.Marshal(b)
	if err != nil {
		panic("store: an entry that cannot be encoded: " + err.Error()) // raw values that were just encoded
	}
	e := RecordEntry{Number: c.number + 1, At: c.at, Kind: kind, Subject: subject, Body: string(body), Digest: digest(string(body)), Previous: c.hash}
	e.Hash = e.hash()
	c.number, c.hash = e.Number, e.Hash
	c.fresh = append(c.fresh, e)
}

// keep writes the entries.
func (c *change) keep() error {
	return insertMany(c.ctx, c.tx, `record (number, at, kind, subject, body, digest, previous, hash)`, 8, c.fresh, func(e RecordEntry) ([]any, error) {
		return []any{e.Number, e.At, e.Kind, e.Subject, e.Body, e.Digest, e.Previous, e.Hash}, nil
	})
}

// adopt begins the record of a study from before records were kept, with everything found in it except stored outcomes, for
// which nothing vouches.
func (c *change) adopt() error {
	if _, err := c.tx.ExecContext(c.ctx, `DELETE FROM outcomes`); err != nil {
		return err
	}
	found, err := c.put("study"+foundSuffix, "study", `UPDATE study SET recorded = $1`, c.at)
	if err != nil || len(found) == 0 { // a new study: its row comes next
		return err
	}
	for _, t := range tables[1:] {
		rows, err := t.rows(c.ctx, c.tx)
		if err != nil {
			return err
		}
		for _, r := range rows {
			c.append(t.noun+foundSuffix, t.subject(r), entryBody{Table: t.name, Row: r})
		}
	}
	return c.adoptJournals()
}

func (c *change) adoptJournals() error {
	ends, err := lastEntries(c.ctx, c.tx)
	for _, session := range slices.Sorted(maps.Keys(ends)) {
		c.milestone(ends[session])
	}
	return err
}
