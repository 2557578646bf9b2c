package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"heardiff/trials"
)

// Outcomes returns what the sessions that have ended came to, by the id of the session, as far as it was kept. They are
// derived from the entries, and "heardiff verify" derives them again.
func (s *Store) Outcomes(ctx context.Context) (map[string]trials.Summary, error) {
	type outcome struct {
		session string
		summary trials.Summary
	}
	rows, err := list(ctx, s.db, func(row scanner) (outcome, error) {
		var o outcome
		var body []byte
		if err := row.Scan(&o.session, &body); err != nil {
			return o, err
		}
		if err := json.Unmarshal(body, &o.summary); err != nil {
			return o, fmt.Errorf("outcome of session %q: %w", o.session, err)
		}
		return o, nil
	}, `SELECT session, body FROM outcomes WHERE version = $1`, trials.SummaryVersion)
	if err != nil {
		return nil, err
	}
	all := make(map[string]trials.Summary, len(rows))
	for _, o := range rows {
		all[o.session] = o.summary
	}
	return all, nil
}

// KeepOutcomes keeps what sessions that have ended came to. One that is kept already stays.
func (s *Store) KeepOutcomes(ctx context.Context, all map[string]trials.Summary) error {
	if len(all) == 0 {
		return nil
	}
	return s.within(ctx, func(tx *sql.Tx) error {
		for session, summary := range all {
			if err := keepOutcome(ctx, tx, session, summary); err != nil {
				return err
			}
		}
		return nil
	})
}

func keepOutcome(ctx context.Context, tx *sql.Tx, session string, v trials.Summary) error {
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encode the outcome: %w", err)
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO outcomes (session, version, body) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`,
		session, trials.SummaryVersion, string(body))
	return err
}
