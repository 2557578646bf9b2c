package store

import (
	"context"
	"fmt"

	"heardiff/trials"
)

// Marks returns the doubts about the blindness of sessions that the sites where they were begun reported, by session.
func (s *Store) Marks(ctx context.Context) (map[string][]trials.Mark, error) {
	type marked struct {
		session string
		mark    trials.Mark
	}
	all, err := list(ctx, s.db, func(row scanner) (marked, error) {
		var m marked
		err := row.Scan(&m.session, &m.mark)
		return m, err
	}, `SELECT session, mark FROM marks ORDER BY session, mark`)
	if err != nil {
		return nil, err
	}
	by := map[string][]trials.Mark{}
	for _, m := range all {
		by[m.session] = append(by[m.session], m.mark)
	}
	return by, nil
}

// mergeMarks keeps the marks that a site set against its sessions. They stay, whatever a later bundle leaves out.
func (c *change) mergeMarks(all []MergeSession) error {
	for _, v := range all {
		for _, m := range v.Marks {
			_, err := c.put("mark of a session", "marks", `INSERT INTO marks (session, mark) VALUES ($1, $2) ON CONFLICT DO NOTHING`, v.ID, string(m))
			if err != nil {
				return fmt.Errorf("session %q: its mark %q: %w", v.ID, m, err)
			}
		}
	}
	return nil
}
