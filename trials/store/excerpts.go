package store

import (
	"context"
	"fmt"
)

// Excerpt is a stretch of the same music cut from the captures of several chains.
type Excerpt struct {
	Name    string
	Music   string
	StartS  float64
	Seconds float64
	RateHz  int
	// Result is the JSON of the preparation.
	Result        []byte
	Presentations []Presentation
}

// Presentation is one prepared file of an excerpt.
type Presentation struct {
	Excerpt string
	Chain   string
	// Treatment is "" for the chain's own capture, otherwise the known dose added to it, and Dose its size.
	Treatment string
	Dose      float64
	Path      string
	SHA256    string
	// Result is the JSON of the corrections made in preparing this one, and the residuals.
	Result []byte
}

// SaveExcerpt stores an excerpt and its presentations, all or none. It returns ErrExists, wrapped, if an excerpt of that name,
// or a presentation of the same content, exists already.
func (s *Store) SaveExcerpt(ctx context.Context, e Excerpt) error {
	err := s.change(ctx, func(c *change) error {
		_, err := c.put("excerpt", "excerpts", `INSERT INTO excerpts (name, music, start_s, seconds, rate_hz, result, at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			e.Name, e.Music, e.StartS, e.Seconds, e.RateHz, string(e.Result), s.stamp())
		if err != nil {
			return err
		}
		return c.addPresentations(e.Name, e.Presentations)
	})
	if err != nil {
		return fmt.Errorf("excerpt %q: %w", e.Name, err)
	}
	return nil
}

// AddPresentations adds presentations to an existing excerpt, all or none. It returns ErrExists, wrapped, if the excerpt has
// one of the same chain and treatment, or one of the same content.
func (s *Store) AddPresentations(ctx context.Context, excerpt string, p []Presentation) error {
	err := s.change(ctx, func(c *change) error { return c.addPresentations(excerpt, p) })
	if err != nil {
		return fmt.Errorf("excerpt %q: %w", excerpt, err)
	}
	return nil
}

func (c *change) addPresentations(excerpt string, all []Presentation) error {
	for _, p := range all {
		_, err := c.put("presentation", "presentations", `INSERT INTO presentations (sha256, excerpt, chain, treatment, dose, path, result) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			p.SHA256, excerpt, p.Chain, p.Treatment, p.Dose, p.Path, string(p.Result))
		if err != nil {
			return fmt.Errorf("presentation of chain %q: %w", p.Chain, err)
		}
	}
	return nil
}

// Excerpts returns the excerpts with their presentations, in the order in which they were made.
func (s *Store) Excerpts(ctx context.Context) ([]Excerpt, error) {
	all, err := list(ctx, s.db, func(row scanner) (Excerpt, error) {
		var e Excerpt
		var text string
		err := row.Scan(&e.Name, &e.Music, &e.StartS, &e.Seconds, &e.RateHz, &text)
		e.Result = []byte(text)
		return e, err
	}, `SELECT name, music, start_s, seconds, rate_hz, result FROM excerpts ORDER BY rowid`)
	if err != nil {
		return nil, err
	}
	for i := range all {
		all[i].Presentations, err = list(ctx, s.db, scanPresentation, `SELECT `+presentationColumns+
			` FROM presentations WHERE excerpt = $1 ORDER BY rowid`, all[i].Name)
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}

// PresentationBySHA returns the presentation with the given content, or ErrNotFound, wrapped.
func (s *Store) PresentationBySHA(ctx context.Context, sum string) (Presentation, error) {
	return find(ctx, s, "presentation "+sum[:min(12, len(sum))], scanPresentation,
		`SELECT `+presentationColumns+` FROM presentations WHERE sha256 = $1`, sum)
}

const presentationColumns = `excerpt, chain, treatment, dose, path, sha256, result`

func scanPresentation(row scanner) (Presentation, error) {
	var p Presentation
	var text string
	err := row.Scan(&p.Excerpt, &p.Chain, &p.Treatment, &p.Dose, &p.Path, &p.SHA256, &text)
	p.Result = []byte(text)
	return p, err
}
