package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"
)

// Chain is one way from the player to the DAC's analogue output.
type Chain struct {
	Name  string   `json:"name"`
	About string   `json:"about"`
	Cost  *float64 `json:"cost"` // nil where not given
	Role  string   `json:"role"` // source, floor or replay
	// After names the chain that feeds this one, "" if none is declared.
	After string `json:"after,omitempty"`
}

// AddChain adds a chain. It returns ErrExists, wrapped, for a name that is taken, and ErrNotFound where the chain that feeds it is
// not there.
func (s *Store) AddChain(ctx context.Context, c Chain) error {
	if c.After != "" {
		if _, err := s.Chain(ctx, c.After); err != nil {
			return fmt.Errorf("chain %q after another: %w", c.Name, err)
		}
	}
	err := s.change(ctx, func(r *change) error {
		_, err := r.put("chain", "chains", `INSERT INTO chains (name, about, cost, role, fed_by) VALUES ($1, $2, $3, $4, $5)`, c.Name, c.About, c.Cost, c.Role, c.After)
		return err
	})
	if err != nil {
		return fmt.Errorf("chain %q: %w", c.Name, err)
	}
	return nil
}

// Chains returns the chains in the order in which they were added.
func (s *Store) Chains(ctx context.Context) ([]Chain, error) {
	return list(ctx, s.db, scanChain, `SELECT name, about, cost, role, fed_by FROM chains ORDER BY rowid`)
}

// Chain returns one chain, or ErrNotFound, wrapped.
func (s *Store) Chain(ctx context.Context, name string) (Chain, error) {
	return find(ctx, s, fmt.Sprintf("chain %q", name), scanChain, `SELECT name, about, cost, role, fed_by FROM chains WHERE name = $1`, name)
}

func scanChain(row scanner) (Chain, error) {
	var c Chain
	err := row.Scan(&c.Name, &c.About, &c.Cost, &c.Role, &c.After)
	return c, err
}

// Capture is one recorded file of one chain.
type Capture struct {
	ID       int       `json:"id"`
	Chain    string    `json:"chain"`
	Kind     string    `json:"kind"`  // music, or the test signal
	Music    string    `json:"music"` // which music, "" for test signals
	Path     string    `json:"path"`
	SHA256   string    `json:"sha256"`
	RateHz   int       `json:"rate_hz"`
	Channels int       `json:"channels"`
	Frames   int       `json:"frames"`
	Bits     int       `json:"bits"`
	Added    time.Time `json:"added"`
}

const captureColumns = `id, chain, kind, music, path, sha256, rate_hz, channels, frames, bits, added`

// AddCapture adds a capture and returns it with its id and the time at which it was added. It returns ErrExists for a file that
// the chain holds already, ErrNotFound for an unknown chain, both wrapped.
func (s *Store) AddCapture(ctx context.Context, c Capture) (Capture, error) {
	stamp := s.stamp()
	err := s.change(ctx, func(r *change) error {
		rows, err := r.put("capture", "captures", `INSERT INTO captures (chain, kind, music, path, sha256, rate_hz, channels, frames, bits, added)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			c.Chain, c.Kind, c.Music, c.Path, c.SHA256, c.RateHz, c.Channels, c.Frames, c.Bits, stamp)
		if err != nil {
			return err
		}
		return json.Unmarshal(rows[0]["id"], &c.ID)
	})
	if err == nil {
		c.Added, err = time.Parse(time.RFC3339Nano, stamp)
	}
	if err != nil {
		return Capture{}, fmt.Errorf("capture of chain %q: %w", c.Chain, err)
	}
	return c, nil
}

// RemoveCapture removes a capture and its measurements; the record keeps both, with the reason. It returns ErrNotFound,
// wrapped, for an unknown id. The file is not removed.
func (s *Store) RemoveCapture(ctx context.Context, id int, why string) error {
	err := s.change(ctx, func(r *change) error {
		r.why = why
		if err := r.unmeasure(id); err != nil {
			return err
		}
		return one(r.remove("capture removed", "captures", `DELETE FROM captures WHERE id = $1`, id))
	})
	if err != nil {
		return fmt.Errorf("capture %d: %w", id, err)
	}
	return nil
}

// RefileCapture files a capture under another kind, or as another piece of music, and removes its measurements; the record
// keeps the earlier row, with the reason. It returns ErrNotFound, wrapped, for an unknown id.
func (s *Store) RefileCapture(ctx context.Context, id int, kind, music, why string) error {
	err := s.change(ctx, func(r *change) error {
		r.why = why
		if err := r.unmeasure(id); err != nil {
			return err
		}
		return one(r.put("capture refiled", "captures", `UPDATE captures SET kind = $1, music = $2 WHERE id = $3`, kind, music, id))
	})
	if err != nil {
		return fmt.Errorf("capture %d: %w", id, err)
	}
	return nil
}

func (c *change) unmeasure(capture int) error {
	_, err := c.remove("measurement removed", "measurements", `DELETE FROM measurements WHERE capture = $1`, capture)
	return err
}

// one returns ErrNotFound where no row was written.
func one(rows []row, err error) error {
	if err == nil && len(rows) == 0 {
		return ErrNotFound
	}
	return err
}

// Captures returns all captures in the order in which they were added.
func (s *Store) Captures(ctx context.Context) ([]Capture, error) {
	return list(ctx, s.db, scanCapture, `SELECT `+captureColumns+` FROM captures ORDER BY id`)
}

// CapturesBySHA returns the captures with the given content: several where one file was filed for several chains, as a control.
func (s *Store) CapturesBySHA(ctx context.Context, sum string) ([]Capture, error) {
	return list(ctx, s.db, scanCapture, `SELECT `+captureColumns+` FROM captures WHERE sha256 = $1 ORDER BY id`, sum)
}

// Capture returns one capture, or ErrNotFound, wrapped.
func (s *Store) Capture(ctx context.Context, id int) (Capture, error) {
	return find(ctx, s, fmt.Sprintf("capture %d", id), scanCapture, `SELECT `+captureColumns+` FROM captures WHERE id = $1`, id)
}

func scanCapture(row scanner) (Capture, error) {
	var c Capture
	var added instant
	err := row.Scan(&c.ID, &c.Chain, &c.Kind, &c.Music, &c.Path, &c.SHA256, &c.RateHz, &c.Channels, &c.Frames, &c.Bits, &added)
	c.Added = added.Time
	return c, err
}

// Measurement is the result of one capture's measurement, as JSON.
type Measurement struct {
	Capture int
	Kind    string
	Result  []byte
}

// SaveMeasurement stores a measurement, replacing an earlier one of the same capture and kind.
func (s *Store) SaveMeasurement(ctx context.Context, m Measurement) error {
	err := s.change(ctx, func(c *change) error {
		_, err := c.put("measurement", "measurements", `INSERT INTO measurements (capture, kind, result, at) VALUES ($1, $2, $3, $4)
			ON CONFLICT (capture, kind) DO UPDATE SET result = excluded.result, at = excluded.at`,
			m.Capture, m.Kind, string(m.Result), s.stamp())
		return err
	})
	if err != nil {
		return fmt.Errorf("measurement of capture %d: %w", m.Capture, err)
	}
	return nil
}

// Measurements returns all measurements by capture.
func (s *Store) Measurements(ctx context.Context) ([]Measurement, error) {
	return list(ctx, s.db, func(row scanner) (Measurement, error) {
		var m Measurement
		var text string
		err := row.Scan(&m.Capture, &m.Kind, &text)
		m.Result = []byte(text)
		return m, err
	}, `SELECT capture, kind, result FROM measurements ORDER BY capture, kind`)
}

// Entered is a figure that somebody measured elsewhere.
type Entered struct {
	Chain  string   `json:"chain"`
	Metric string   `json:"metric"`
	Value  *float64 `json:"value"`
	Unit   string   `json:"unit"`
	Limit  *float64 `json:"limit"`
	Source string   `json:"source"`
}

// Enter stores figures measured elsewhere, all or none.
func (s *Store) Enter(ctx context.Context, figures []Entered) error {
	return s.change(ctx, func(c *change) error {
		for _, f := range figures {
			_, err := c.put("figure", "entered", `INSERT INTO entered (chain, metric, value, unit, bound, source) VALUES ($1, $2, $3, $4, $5, $6)
				ON CONFLICT (chain, metric, source) DO UPDATE SET value = excluded.value, unit = excluded.unit, bound = excluded.bound
				WHERE entered.value IS DISTINCT FROM excluded.value OR entered.unit <> excluded.unit OR entered.bound IS DISTINCT FROM excluded.bound`,
				f.Chain, f.Metric, f.Value, f.Unit, f.Limit, f.Source)
			if err != nil {
				return fmt.Errorf("figure %q of chain %q: %w", f.Metric, f.Chain, s.database.Translate(err))
			}
		}
		return nil
	})
}

// EnteredFigures returns the figures that were entered.
func (s *Store) EnteredFigures(ctx context.Context) ([]Entered, error) {
	return list(ctx, s.db, func(row scanner) (Entered, error) {
		var f Entered
		err := row.Scan(&f.Chain, &f.Metric, &f.Value, &f.Unit, &f.Limit, &f.Source)
		return f, err
	}, `SELECT chain, metric, value, unit, bound, source FROM entered ORDER BY chain, metric, source`)
}
