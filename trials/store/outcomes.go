package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"heardiff/trials"
)

// Outcomes returns the stored results of ended sessions, by session id, as far as they can be trusted: the record must be
// intact and contain both the row and the end of the journal, which must exist. Missing ones must be computed from the
// entries. "heardiff verify" recomputes all of them.
func (s *Store) Outcomes(ctx context.Context) (map[string]trials.Summary, error) {
	all := map[string]trials.Summary{}
	err := s.reading(ctx, func(tx *sql.Tx) error {
		r, err := replay(ctx, tx)
		if err != nil || len(r.faults) > 0 {
			return err
		}
		ends, err := lastEntries(ctx, tx)
		if err != nil {
			return err
		}
		kept, err := list(ctx, tx, scanOutcome, `SELECT session, version, body FROM outcomes WHERE version = $1`, trials.SummaryVersion)
		for _, o := range kept {
			if !r.vouches(o) || !r.ended(o.session, ends[o.session]) {
				continue
			}
			var v trials.Summary
			if json.Unmarshal([]byte(o.body), &v) == nil {
				all[o.session] = v
			}
		}
		return err
	})
	return all, err
}

// Arrivals returns, for each session, the number of the record's entry at which its end became known here: when it ended, or
// when its bundle was imported. It omits sessions that ended before the record was kept.
func (s *Store) Arrivals(ctx context.Context) (map[string]int, error) {
	type arrival struct {
		session string
		number  int
	}
	found, err := list(ctx, s.db, func(row scanner) (a arrival, err error) {
		err = row.Scan(&a.session, &a.number)
		return a, err
	}, `SELECT subject, MAX(number) FROM record WHERE kind = $1 AND at NOT IN (SELECT recorded FROM study) GROUP BY subject`, kindJournal)
	all := make(map[string]int, len(found))
	for _, a := range found {
		all[a.session] = a.number
	}
	return all, err
}

// outcome is a row of the table.
type outcome struct {
	session string
	version int64
	body    string
}

func scanOutcome(row scanner) (o outcome, err error) {
	err = row.Scan(&o.session, &o.version, &o.body)
	return o, err
}

// vouches reports whether the record contains the row.
func (r *replayed) vouches(o outcome) bool {
	t := tableNamed("outcomes")
	now := row{"session": encodeValue(o.session), "version": encodeValue(o.version), "body": encodeValue(o.body)}
	then := r.rows[t.name][t.subject(now)]
	return then != nil && bytes.Equal(then["body"], now["body"])
}

// ended reports whether the record contains the end of the session's journal, and last is that entry.
func (r *replayed) ended(session string, last trials.Entry) bool {
	marks := r.journals[session]
	if len(marks) == 0 {
		return false
	}
	m := marks[len(marks)-1]
	return last.Kind == trials.EntryEnd && m == mark{last.Number, last.Kind, last.Hash} && last.Intact()
}

// lastEntries returns the last entry of each session's journal.
func lastEntries(ctx context.Context, q querier) (map[string]trials.Entry, error) {
	last, err := list(ctx, q, scanBody[trials.Entry], `SELECT (SELECT body FROM entries WHERE session = id ORDER BY number DESC LIMIT 1) AS last
		FROM sessions WHERE EXISTS (SELECT 1 FROM entries WHERE session = id) ORDER BY rowid`)
	all := make(map[string]trials.Entry, len(last))
	for _, e := range last {
		all[e.Session] = e
	}
	return all, err
}

// KeepOutcomes stores the results of ended sessions; results already stored stay. It stores nothing in a study without a
// record, which could not vouch for them, or in one that is read-only, where they are recomputed each time.
func (s *Store) KeepOutcomes(ctx context.Context, all map[string]trials.Summary) error {
	if len(all) == 0 || s.readOnly {
		return nil
	}
	if head, err := s.Head(ctx); err != nil || head.Entries == 0 {
		return err
	}
	return s.change(ctx, func(c *change) error {
		for _, session := range slices.Sorted(maps.Keys(all)) {
			if err := c.keepOutcome(session, all[session]); err != nil {
				return err
			}
		}
		return nil
	})
}

func (c *change) keepOutcome(session string, v trials.Summary) error {
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encode the outcome: %w", err)
	}
	_, err = c.put(kindOutcome, "outcomes", `INSERT INTO outcomes (session, version, body) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`,
		session, trials.SummaryVersion, string(body))
	return err
}

// outcomeOf stores the result of a session that has just ended. If it cannot be computed nothing is stored: whoever asks for
// the result gets the error.
func (c *change) outcomeOf(session string) error {
	plans, err := list(c.ctx, c.tx, scanBody[trials.Plan], `SELECT body FROM plans WHERE id = (SELECT plan FROM sessions WHERE id = $1)`, session)
	if err != nil || len(plans) == 0 {
		return err
	}
	entries, err := list(c.ctx, c.tx, scanBody[trials.Entry], selectEntries, session)
	if err != nil {
		return err
	}
	r, err := trials.Reveal(plans[0], entries)
	if err != nil {
		return nil
	}
	return c.keepOutcome(session, r.Summary())
}
