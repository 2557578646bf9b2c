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

// Merge is what a bundle of results brings. The caller has checked it; Merge only joins.
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
	Marks                []trials.Mark // what its site says against its blindness
	// Outcome is what the entries come to, where the caller has revealed them; nil else.
	Outcome *trials.Summary
}

// Merged counts what was new.
type Merged struct {
	Plans     int `json:"plans"`
	Listeners int `json:"listeners"`
	Sessions  int `json:"sessions"`
	Known     int `json:"sessions_known"` // sessions that were here already, entry for entry the same
}

// Merge joins the sessions of another site, all or none. The order in which bundles come makes no difference, and one
// that comes twice changes nothing: plans are known by their hash, sessions by their id. It returns ErrExists, wrapped,
// where a session is here already with other entries, and names it.
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

// mergePlans returns under which id each plan, named by its hash, stands here.
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
		// Another plan may have the same number here: the hash tells them apart, the same in every order of merging.
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

// mergeListener adds the listener of a session. Where one bundle says more of them than another (an anonymous one, say),
// the larger text stays: the same in every order of merging.
// larger names the database's function for that.
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
	// The seed stands revealed in the last entry: nothing is sealed any more.
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

// insertEntries adds entries of sessions that are there.
func insertEntries(ctx context.Context, tx *sql.Tx, all []trials.Entry) error {
	return insertMany(ctx, tx, `entries (session, number, body)`, 3, all, func(e trials.Entry) ([]any, error) {
		body, err := json.Marshal(e)
		return []any{e.Session, e.Number, string(body)}, err
	})
}

// sameSession reports whether the session is here with the same answers. A record from which words and times were
// withheld is the same session as the whole one: whichever came first stays, and the results are the same. The last
// hash covers every entry, so that most need no more.
func sameSession(ctx context.Context, tx *sql.Tx, v MergeSession) (bool, error) {
	last, err := list(ctx, tx, scanEntry, `SELECT body FROM entries WHERE session = $1 ORDER BY number DESC LIMIT 1`, v.ID)
	if err != nil || len(last) == 0 {
		return false, err
	}
	if last[0].Hash == v.Entries[len(v.Entries)-1].Hash {
		return true, nil
	}
	here, err := list(ctx, tx, scanEntry, selectEntries, v.ID)
	if err != nil {
		return false, err
	}
	if !trials.SameRecord(here, v.Entries) {
		return false, fmt.Errorf("%w with other entries", ErrExists)
	}
	return true, nil
}
