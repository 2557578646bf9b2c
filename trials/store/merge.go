package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"heardiff/trials"
)

// Merge is the content of a bundle of results, which the caller has checked.
type Merge struct {
	Bundle string // SHA-256 of the bundle's file
	Site   string // fingerprint of the site that signed it
	Plans  []trials.Plan
	// Listeners carry the names they have in this study.
	Listeners []Listener
	Sessions  []MergeSession
	// Begun is every session that the site says it has begun.
	Begun []Begun
}

// MergeSession is a session that has ended elsewhere.
type MergeSession struct {
	ID, Listener, Device string
	PlanHash             string // of one of the plans, trials.Plan.HashText
	Entries              []trials.Entry
	Marks                []trials.Mark // its site's doubts about its blindness
	// Outcome is the result of the entries, if the caller has revealed them; nil otherwise.
	Outcome *trials.Summary
}

// Merged counts what a merge added.
type Merged struct {
	Plans     int `json:"plans"`
	Listeners int `json:"listeners"`
	Sessions  int `json:"sessions"`
	Known     int `json:"sessions_known"` // sessions that were here already, entry for entry the same
}

// Merge adds the sessions of another site, all or none. The order of bundles makes no difference, and a bundle merged twice
// changes nothing: plans are identified by their hash, sessions by their id. It returns ErrExists, wrapped and naming the
// session, if a session already exists with different entries.
func (s *Store) Merge(ctx context.Context, m Merge) (Merged, error) {
	var count Merged
	err := s.change(ctx, func(c *change) error {
		plans, err := c.mergePlans(m.Plans, &count)
		if err != nil {
			return err
		}
		var entries []trials.Entry
		listeners := map[string]Listener{}
		for _, l := range m.Listeners {
			listeners[l.ID] = l
		}
		for _, v := range m.Sessions {
			known, err := sameSession(ctx, c.tx, v)
			if err != nil {
				return fmt.Errorf("session %q: %w", v.ID, err)
			}
			if err := c.mergeListener(v, listeners, s.database.Larger(), &count); err != nil {
				return fmt.Errorf("listener %q: %w", v.Listener, err)
			}
			if known {
				count.Known++
				continue
			}
			if err := c.mergeSession(v, plans[v.PlanHash], m.Site); err != nil {
				return fmt.Errorf("session %q: %w", v.ID, err)
			}
			count.Sessions++
			entries = append(entries, v.Entries...)
		}
		if err := insertEntries(ctx, c.tx, entries); err != nil {
			return err
		}
		if err := errors.Join(c.mergeBegun(m.Begun), c.mergeMarks(m.Sessions)); err != nil {
			return err
		}
		_, err = c.put("bundle", "bundles", `INSERT INTO bundles (sha256, site, at) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`, m.Bundle, m.Site, s.stamp())
		return err
	})
	return count, err
}

// mergePlans returns the local id of each plan, by its hash.
func (c *change) mergePlans(plans []trials.Plan, count *Merged) (map[string]string, error) {
	here, err := plansByID(c.ctx, c.tx)
	if err != nil {
		return nil, err
	}
	ids := map[string]string{}
	for id, p := range here {
		ids[p.HashText()] = id
	}
	for _, p := range plans {
		hash := p.HashText()
		if ids[hash] != "" {
			continue
		}
		// A local plan may have the same id: the hash distinguishes them, independently of the order of merging.
		id := p.ID + "@" + hash[:8]
		body, err := json.Marshal(p)
		if err != nil {
			return nil, err
		}
		if _, err := c.put("plan", "plans", insertPlan, id, string(body), c.at); err != nil {
			return nil, fmt.Errorf("plan %q: %w", id, err)
		}
		ids[hash] = id
		count.Plans++
	}
	return ids, nil
}

// mergeListener adds the listener of a session. If bundles disagree about a listener (one may be anonymous, for example), the
// larger value stays, independently of the order of merging. larger is the name of the database's function for that.
func (c *change) mergeListener(v MergeSession, listeners map[string]Listener, larger string, count *Merged) error {
	l, named := listeners[v.Listener]
	if !named {
		return nil
	}
	var have int
	if err := c.tx.QueryRowContext(c.ctx, `SELECT COUNT(*) FROM listeners WHERE id = $1`, l.ID).Scan(&have); err != nil {
		return err
	}
	count.Listeners += 1 - have
	delete(listeners, v.Listener)
	var set, differs []string
	for _, column := range []string{"grouping", "years", "hearing", "transducer", "room", "consent", "simulated"} {
		// The larger of a value and NULL is NULL in one database and the value in the other.
		most := fmt.Sprintf("COALESCE(%s(listeners.%[2]s, excluded.%[2]s), listeners.%[2]s, excluded.%[2]s)", larger, column)
		set, differs = append(set, column+" = "+most), append(differs, fmt.Sprintf("listeners.%s IS DISTINCT FROM %s", column, most))
	}
	_, err := c.put(kindListener, "listeners", insertListener+` ON CONFLICT (id) DO UPDATE SET `+strings.Join(set, ", ")+
		` WHERE NOT listeners.forgotten AND (`+strings.Join(differs, " OR ")+`)`,
		l.ID, l.Group, l.Years, l.Hearing, l.Transducer, l.Room, l.Consent, l.Simulated, c.at)
	return err
}

func (c *change) mergeSession(v MergeSession, plan, site string) error {
	// The last entry reveals the seed, so there is no sealed seed to store.
	_, err := c.put("session", "sessions", insertSession, v.ID, plan, v.Listener, []byte{}, v.Device, v.Entries[0].At.UTC().Format(time.RFC3339Nano), site, nil)
	if err != nil {
		return err
	}
	c.milestone(v.Entries[len(v.Entries)-1])
	if v.Outcome == nil {
		return nil
	}
	return c.keepOutcome(v.ID, *v.Outcome)
}

// insertEntries adds entries of existing sessions.
func insertEntries(ctx context.Context, tx *sql.Tx, all []trials.Entry) error {
	return insertMany(ctx, tx, `entries (session, number, body)`, 3, all, func(e trials.Entry) ([]any, error) {
		body, err := json.Marshal(e)
		return []any{e.Session, e.Number, string(body)}, err
	})
}

// sameSession reports whether the session exists with the same answers. A record with text and times withheld counts as the
// same session as the full one: whichever was merged first stays, and the results are equal. The last hash covers every
// entry, so that it usually suffices.
func sameSession(ctx context.Context, tx *sql.Tx, v MergeSession) (bool, error) {
	last, err := list(ctx, tx, scanBody[trials.Entry], `SELECT body FROM entries WHERE session = $1 ORDER BY number DESC LIMIT 1`, v.ID)
	if err != nil || len(last) == 0 {
		return false, err
	}
	if last[0].Hash == v.Entries[len(v.Entries)-1].Hash {
		return true, nil
	}
	here, err := list(ctx, tx, scanBody[trials.Entry], selectEntries, v.ID)
	if err != nil {
		return false, err
	}
	if !trials.SameRecord(here, v.Entries) {
		return false, fmt.Errorf("%w with other entries", ErrExists)
	}
	return true, nil
}
