package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"heardiff/trials"
)

// Journal returns the journal of a session: each entry is on disk when Append returns. Where ctx ends while an entry is on its
// way, the entry has a moment to arrive. Where a session begins and ends, and where the listener sits down and rests, the head
// of the journal goes into the study's record.
func (s *Store) Journal(ctx context.Context) trials.Journal { return journal{ctx, s} }

type journal struct {
	ctx   context.Context
	store *Store
}

// commitGrace is how long an entry that is on its way may take to arrive once the program is to end, and askGrace how long the
// store may take to say whether it has.
const (
	commitGrace = 3 * time.Second
	askGrace    = 2 * time.Second
)

// Append implements trials.Journal. After an error the entry is not in the record, as far as the store can find out: an entry whose
// acknowledgement was lost on the way counts as kept, because it is. It returns ErrGone, wrapped, where the study is no longer in its
// folder, and ErrExists, wrapped, where another entry has the number.
func (j journal) Append(e trials.Entry) error {
	body, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("encode the entry: %w", err)
	}
	if err := j.store.database.Present(); err != nil {
		return err
	}
	ctx, stop := outliving(j.ctx, commitGrace)
	defer stop()
	if err := j.store.enter(ctx, e, string(body)); err != nil {
		return j.settle(e, err)
	}
	return j.store.database.Present() // written, but to a file that nobody will find
}

// milestones are the entries of a journal whose hashes the study's record holds as heads.
var milestones = map[trials.EntryKind]bool{trials.EntryBegin: true, trials.EntryOpen: true, trials.EntryRest: true, trials.EntryEnd: true}

// enter writes an entry, and a milestone to the record. An answer waits for nobody.
func (s *Store) enter(ctx context.Context, e trials.Entry, body string) error {
	if !milestones[e.Kind] {
		return s.exec(ctx, insertEntry, e.Session, e.Number, body)
	}
	return s.change(ctx, func(c *change) error {
		if _, err := c.tx.ExecContext(ctx, insertEntry, e.Session, e.Number, body); err != nil {
			return err
		}
		c.milestone(e)
		if e.Kind != trials.EntryEnd {
			return nil
		}
		return c.outcomeOf(e.Session)
	})
}

// settle asks the store whether an entry whose writing seemed to fail was kept after all.
func (j journal) settle(e trials.Entry, failed error) error {
	ctx, stop := context.WithTimeout(context.WithoutCancel(j.ctx), askGrace)
	defer stop()
	here, err := find(ctx, j.store, "the entry", scanBody[trials.Entry], `SELECT body FROM entries WHERE session = $1 AND number = $2`, e.Session, e.Number)
	switch {
	case errors.Is(err, ErrNotFound):
		return failed
	case err != nil:
		return fmt.Errorf("%w; whether it is kept cannot be asked now: leave, and resume when the store answers", failed)
	case here.Hash == e.Hash:
		return nil
	}
	return fmt.Errorf("%w: entry %d was kept when it seemed lost; leave, and resume after it", ErrExists, e.Number)
}

// outliving returns a context that ends some time after ctx does.
func outliving(ctx context.Context, by time.Duration) (context.Context, func()) {
	longer, cancel := context.WithCancel(context.WithoutCancel(ctx))
	forget := context.AfterFunc(ctx, func() { time.AfterFunc(by, cancel) })
	return longer, func() { forget(); cancel() }
}
