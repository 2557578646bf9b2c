package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"heardiff/trials"
)

// Listener is a pseudonym and what the listener chose to disclose.
type Listener struct {
	ID         string   `json:"id"`
	Group      string   `json:"group"`
	Years      *float64 `json:"years"`
	Hearing    string   `json:"hearing"`
	Transducer string   `json:"transducer"`
	Room       string   `json:"room"`
	Consent    string   `json:"consent"`
	// Simulated marks a simulated listener.
	Simulated bool      `json:"simulated"`
	Added     time.Time `json:"added"`
}

const insertListener = `INSERT INTO listeners (id, grouping, years, hearing, transducer, room, consent, simulated, added)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`

// AddListener adds a listener. It returns ErrExists, wrapped, for an id that is taken.
func (s *Store) AddListener(ctx context.Context, l Listener) error {
	err := s.change(ctx, func(c *change) error {
		_, err := c.put(kindListener, "listeners", insertListener, l.ID, l.Group, l.Years, l.Hearing, l.Transducer, l.Room, l.Consent, l.Simulated, s.stamp())
		return err
	})
	if err != nil {
		return fmt.Errorf("listener %q: %w", l.ID, err)
	}
	return nil
}

// ForgetListener removes everything that a listener said about themselves, from the database's files too; the pseudonym and
// the answers stay. The record keeps the entries and their digests. It returns ErrNotFound, wrapped, for an unknown id.
func (s *Store) ForgetListener(ctx context.Context, id string) error {
	err := s.change(ctx, func(c *change) error {
		rows, err := c.put(kindForgotten, "listeners", `UPDATE listeners SET grouping = '', years = NULL, hearing = '', transducer = '',
			room = '', consent = '', forgotten = $2 WHERE id = $1`, id, true)
		if err == nil && len(rows) == 0 {
			err = ErrNotFound
		}
		if err != nil {
			return err
		}
		_, err = c.tx.ExecContext(ctx, `UPDATE record SET body = '' WHERE subject = $1 AND kind LIKE $2`, id, kindListener+"%")
		return err
	})
	if err != nil {
		return fmt.Errorf("listener %q: %w", id, err)
	}
	if err := s.database.Scrub(ctx, s.db); err != nil {
		return fmt.Errorf("listener %q: %w", id, err)
	}
	return nil
}

const listenerColumns = `id, grouping, years, hearing, transducer, room, consent, simulated, added`

// Listeners returns the listeners in the order in which they were added.
func (s *Store) Listeners(ctx context.Context) ([]Listener, error) {
	return list(ctx, s.db, scanListener, `SELECT `+listenerColumns+` FROM listeners ORDER BY rowid`)
}

// Listener returns one listener, or ErrNotFound, wrapped.
func (s *Store) Listener(ctx context.Context, id string) (Listener, error) {
	return find(ctx, s, fmt.Sprintf("listener %q", id), scanListener, `SELECT `+listenerColumns+` FROM listeners WHERE id = $1`, id)
}

func scanListener(row scanner) (Listener, error) {
	var l Listener
	var added instant
	err := row.Scan(&l.ID, &l.Group, &l.Years, &l.Hearing, &l.Transducer, &l.Room, &l.Consent, &l.Simulated, &added)
	l.Added = added.Time
	return l, err
}

const insertPlan = `INSERT INTO plans (id, body, created) VALUES ($1, $2, $3)`

// AddPlan keeps a plan under its id. It returns ErrExists, wrapped, for an id that is taken.
func (s *Store) AddPlan(ctx context.Context, p trials.Plan) error {
	if err := p.Validate(); err != nil {
		return err
	}
	body, err := json.Marshal(p)
	if err != nil {
		return fmt.Errorf("encode the plan: %w", err)
	}
	err = s.change(ctx, func(c *change) error {
		_, err := c.put("plan", "plans", insertPlan, p.ID, string(body), s.stamp())
		return err
	})
	if err != nil {
		return fmt.Errorf("plan %q: %w", p.ID, err)
	}
	return nil
}

// Plans returns the plans in the order in which they were made.
func (s *Store) Plans(ctx context.Context) ([]trials.Plan, error) {
	return list(ctx, s.db, scanBody[trials.Plan], `SELECT body FROM plans ORDER BY rowid`)
}

// Plan returns one plan, or ErrNotFound, wrapped.
func (s *Store) Plan(ctx context.Context, id string) (trials.Plan, error) {
	return find(ctx, s, fmt.Sprintf("plan %q", id), scanBody[trials.Plan], `SELECT body FROM plans WHERE id = $1`, id)
}

// PlanMade is a plan under the id by which sessions name it, and when it came into the study.
type PlanMade struct {
	ID string
	trials.Plan
	Made time.Time
}

// PlansMade returns the plans in the order in which they came into the study, see PlansByID.
func (s *Store) PlansMade(ctx context.Context) ([]PlanMade, error) { return plansMade(ctx, s.db) }

func plansMade(ctx context.Context, q querier) ([]PlanMade, error) {
	return list(ctx, q, func(row scanner) (PlanMade, error) {
		var p PlanMade
		var body string
		var made instant
		if err := row.Scan(&p.ID, &body, &made); err != nil {
			return p, err
		}
		p.Made = made.Time
		return p, json.Unmarshal([]byte(body), &p.Plan)
	}, `SELECT id, body, created FROM plans ORDER BY rowid`)
}

// PlansByID returns the plans by the ids that sessions use. The id of another site's plan that was imported with results is
// its own id, "@" and the beginning of its hash.
func (s *Store) PlansByID(ctx context.Context) (map[string]trials.Plan, error) {
	return plansByID(ctx, s.db)
}

func plansByID(ctx context.Context, q querier) (map[string]trials.Plan, error) {
	made, err := plansMade(ctx, q)
	all := make(map[string]trials.Plan, len(made))
	for _, p := range made {
		all[p.ID] = p.Plan
	}
	return all, err
}

// Session is one listener's work on one plan, as stored.
type Session struct {
	ID string
	// Number numbers the sessions of the study from 1 in the order in which they began; the store sets it. A missing number
	// means that a session was removed.
	Number   int
	Plan     string
	Listener string
	// Sealed is the encrypted seed.
	Sealed []byte
	// Device says what the session was heard through: its name, rate and format.
	Device  string
	Created time.Time
	// Escrow is the seed encrypted to the key of the site that made the kit; nil if the study is not a kit.
	Escrow []byte
	// Site is the fingerprint of the site where it was run, "" for this one.
	Site string
}

const sessionColumns = `rowid, id, plan, listener, sealed, device, created, site, escrow`

// insertSession numbers sessions without gaps: it must not run concurrently.
const insertSession = `INSERT INTO sessions (rowid, id, plan, listener, sealed, device, created, site, escrow)
	VALUES ((SELECT COALESCE(MAX(rowid), 0) + 1 FROM sessions), $1, $2, $3, $4, $5, $6, $7, $8)`

// AddSession keeps a new session, before its first entry.
func (s *Store) AddSession(ctx context.Context, v Session) error {
	err := s.change(ctx, func(c *change) error {
		_, err := c.put("session", "sessions", insertSession, v.ID, v.Plan, v.Listener, v.Sealed, v.Device, s.stamp(), "", v.Escrow)
		return err
	})
	if err != nil {
		return fmt.Errorf("session %q: %w", v.ID, err)
	}
	return nil
}

// SetDevice records what a session is heard through.
func (s *Store) SetDevice(ctx context.Context, session, device string) error {
	return s.change(ctx, func(c *change) error {
		_, err := c.put("session", "sessions", `UPDATE sessions SET device = $1 WHERE id = $2 AND device <> $1`, device, session)
		return err
	})
}

const selectSessions = `SELECT ` + sessionColumns + ` FROM sessions ORDER BY rowid`

// Sessions returns all sessions in the order in which they began.
func (s *Store) Sessions(ctx context.Context) ([]Session, error) {
	return list(ctx, s.db, scanSession, selectSessions)
}

func scanSession(row scanner) (Session, error) {
	var v Session
	var created instant
	err := row.Scan(&v.Number, &v.ID, &v.Plan, &v.Listener, &v.Sealed, &v.Device, &created, &v.Site, &v.Escrow)
	v.Created = created.Time
	return v, err
}

// Entries returns a session's journal in order.
func (s *Store) Entries(ctx context.Context, session string) ([]trials.Entry, error) {
	return list(ctx, s.db, scanBody[trials.Entry], selectEntries, session)
}

const selectEntries = `SELECT body FROM entries WHERE session = $1 ORDER BY number`

const insertEntry = `INSERT INTO entries (session, number, body) VALUES ($1, $2, $3)`
