package store

import (
	"context"
	"fmt"
)

// Begun is a session that another site said it had begun.
type Begun struct {
	Site    string `json:"site"` // fingerprint
	Number  int    `json:"number"`
	Session string `json:"session"` // "" for a number that was missing from the site's list
	Seal    string `json:"seal"`    // commitment to its order, hexadecimal
}

// Begun returns the sessions that other sites said they had begun, by site, number, session and seal.
func (s *Store) Begun(ctx context.Context) ([]Begun, error) {
	return list(ctx, s.db, func(row scanner) (Begun, error) {
		var b Begun
		err := row.Scan(&b.Site, &b.Number, &b.Session, &b.Seal)
		return b, err
	}, `SELECT site, number, session, seal FROM begun ORDER BY site, number, session, seal`)
}

// mergeBegun stores the sessions that a site says it has begun. They stay, whatever a later bundle omits.
func (c *change) mergeBegun(all []Begun) error {
	for _, b := range all {
		_, err := c.put("session begun elsewhere", "begun", `INSERT INTO begun (site, number, session, seal) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
			b.Site, b.Number, b.Session, b.Seal)
		if err != nil {
			return fmt.Errorf("session number %d of site %s: %w", b.Number, b.Site, err)
		}
	}
	return nil
}
