package store

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"heardiff/trials"
)

// InUse is why something stays as it is: other parts of the study refer to it.
type InUse struct {
	// Noun says what refers to it (capture, excerpt, plan or chain), and Names which of them.
	Noun  string
	Names []string
}

// Error implements error.
func (e *InUse) Error() string {
	if len(e.Names) == 1 {
		return fmt.Sprintf("%s %s refers to it", e.Noun, e.Names[0])
	}
	return fmt.Sprintf("%ss %s refer to it", e.Noun, strings.Join(e.Names, ", "))
}

// Retitle gives the study another title; the record keeps the earlier one, with the reason.
func (s *Store) Retitle(ctx context.Context, title, why string) error {
	return s.change(ctx, func(c *change) error {
		c.why = why
		_, err := c.put("study retitled", "study", `UPDATE study SET title = $1 WHERE title <> $1`, title)
		return err
	})
}

// CorrectChain replaces the description of a chain by that in v, which has its name; the record keeps the earlier row, with the reason. It
// returns ErrNotFound, wrapped, where the chain or the one that feeds it is not there, and a *InUse, wrapped, where its role would change
// although something refers to it.
func (s *Store) CorrectChain(ctx context.Context, v Chain, why string) error {
	err := s.change(ctx, func(c *change) error {
		c.why = why
		was, err := c.chain(v.Name)
		if err != nil {
			return err
		}
		if v.After != "" {
			if _, err := c.chain(v.After); err != nil {
				return fmt.Errorf("after %q: %w", v.After, err)
			}
		}
		if was.Role != v.Role {
			if err := c.refuseUsed(v.Name, "capture", "excerpt", "plan", "figure"); err != nil {
				return err
			}
		}
		_, err = c.put("chain corrected", "chains", `UPDATE chains SET about = $2, cost = $3, role = $4, fed_by = $5 WHERE name = $1 AND
			(about <> $2 OR cost IS DISTINCT FROM $3 OR role <> $4 OR fed_by <> $5)`, v.Name, v.About, v.Cost, v.Role, v.After)
		return err
	})
	return ofChain(v.Name, err)
}

// RenameChain gives a chain another name, and moves it to the end of the list; its captures, and the figures entered for it, go with it.
// The record keeps the earlier rows, with the reason. It returns ErrNotFound, wrapped, if the old name is unknown, ErrExists, wrapped, if
// the new one is taken, and a *InUse, wrapped, if an excerpt or a plan contains the name.
func (s *Store) RenameChain(ctx context.Context, name, to, why string) error {
	err := s.change(ctx, func(c *change) error {
		c.why = why
		if err := c.refuseUsed(name, "excerpt", "plan"); err != nil {
			return err
		}
		// Rows refer to the chain at every moment: the new one comes before the old one goes.
		err := one(c.put("chain renamed", "chains", `INSERT INTO chains (name, about, cost, role, fed_by)
			SELECT CAST($1 AS TEXT), about, cost, role, fed_by FROM chains WHERE name = $2`, to, name))
		if err != nil {
			return err
		}
		for _, move := range []struct{ kind, table, statement string }{
			{"chain corrected", "chains", `UPDATE chains SET fed_by = $1 WHERE fed_by = $2`},
			{"capture refiled", "captures", `UPDATE captures SET chain = $1 WHERE chain = $2`},
			{"figure renamed", "entered", `INSERT INTO entered (chain, metric, value, unit, bound, source)
				SELECT CAST($1 AS TEXT), metric, value, unit, bound, source FROM entered WHERE chain = $2`},
		} {
			if _, err := c.put(move.kind, move.table, move.statement, to, name); err != nil {
				return err
			}
		}
		return c.removeChain("renamed", name)
	})
	return ofChain(name, err)
}

// RemoveChain removes a chain and the figures entered for it; the record keeps both, with the reason. It returns ErrNotFound, wrapped, for
// an unknown chain, and a *InUse, wrapped, where a capture, an excerpt, a plan or another chain refers to it.
func (s *Store) RemoveChain(ctx context.Context, name, why string) error {
	err := s.change(ctx, func(c *change) error {
		c.why = why
		if err := c.refuseUsed(name, "capture", "excerpt", "plan", "chain"); err != nil {
			return err
		}
		return c.removeChain("removed", name)
	})
	return ofChain(name, err)
}

// removeChain removes a chain and the figures entered for it; how says for the record whether they come back under another name.
func (c *change) removeChain(how, name string) error {
	if _, err := c.remove("figure "+how, "entered", `DELETE FROM entered WHERE chain = $1`, name); err != nil {
		return err
	}
	return one(c.remove("chain "+how, "chains", `DELETE FROM chains WHERE name = $1`, name))
}

// RemoveExcerpt removes an excerpt and its presentations; the record keeps both, with the reason. It returns ErrNotFound, wrapped, for an
// unknown excerpt, and a *InUse, wrapped, where a plan plays it. The files are not removed.
func (s *Store) RemoveExcerpt(ctx context.Context, name, why string) error {
	err := s.change(ctx, func(c *change) error {
		c.why = why
		audio, err := c.column(`SELECT sha256 FROM presentations WHERE excerpt = $1`, name)
		if err != nil {
			return err
		}
		plays := func(k trials.Comparison) bool {
			return k.Excerpt == name || slices.Contains(audio, k.AudioA) || slices.Contains(audio, k.AudioB)
		}
		if plans, err := c.plansThat(plays); err != nil || len(plans) > 0 {
			return inUse("plan", plans, err)
		}
		if _, err := c.remove("presentation removed", "presentations", `DELETE FROM presentations WHERE excerpt = $1`, name); err != nil {
			return err
		}
		return one(c.remove("excerpt removed", "excerpts", `DELETE FROM excerpts WHERE name = $1`, name))
	})
	if err != nil {
		return fmt.Errorf("excerpt %q: %w", name, err)
	}
	return nil
}

func ofChain(name string, err error) error {
	if err != nil {
		return fmt.Errorf("chain %q: %w", name, err)
	}
	return nil
}

// chain returns a chain as the transaction sees it, or ErrNotFound.
func (c *change) chain(name string) (Chain, error) {
	found, err := list(c.ctx, c.tx, scanChain, `SELECT name, about, cost, role, fed_by FROM chains WHERE name = $1`, name)
	if err == nil && len(found) == 0 {
		err = ErrNotFound
	}
	if err != nil {
		return Chain{}, err
	}
	return found[0], nil
}

// refuseUsed returns a *InUse for the last of the nouns under which anything refers to the chain: results rest on plans, plans on excerpts,
// and excerpts on captures.
func (c *change) refuseUsed(chain string, nouns ...string) error {
	for _, noun := range slices.Backward(nouns) {
		names, err := c.usesOf(chain, noun)
		if err != nil || len(names) > 0 {
			return inUse(noun, names, err)
		}
	}
	return nil
}

func inUse(noun string, names []string, err error) error {
	if err != nil {
		return err
	}
	return &InUse{noun, names}
}

// usesOf names the items of a kind that refer to a chain.
func (c *change) usesOf(chain, noun string) ([]string, error) {
	switch noun {
	case "capture":
		return c.column(`SELECT CAST(id AS TEXT) FROM captures WHERE chain = $1 ORDER BY id`, chain)
	case "figure":
		return c.quotedColumn(`SELECT metric FROM entered WHERE chain = $1 ORDER BY metric`, chain)
	case "excerpt":
		return c.quotedColumn(`SELECT DISTINCT excerpt FROM presentations WHERE chain = $1 ORDER BY excerpt`, chain)
	case "chain":
		return c.quotedColumn(`SELECT name FROM chains WHERE fed_by = $1 ORDER BY name`, chain)
	}
	return c.plansThat(func(k trials.Comparison) bool { return k.A == chain || k.B == chain })
}

// plansThat names the plans with a comparison for which is returns true.
func (c *change) plansThat(is func(trials.Comparison) bool) ([]string, error) {
	plans, err := plansByID(c.ctx, c.tx)
	var names []string
	for id, p := range plans {
		if slices.ContainsFunc(p.Comparisons, is) {
			names = append(names, strconv.Quote(id))
		}
	}
	slices.Sort(names)
	return names, err
}

// column returns the one column of a query's rows.
func (c *change) column(query string, args ...any) ([]string, error) {
	return list(c.ctx, c.tx, func(row scanner) (text string, err error) {
		err = row.Scan(&text)
		return text, err
	}, query, args...)
}

// quotedColumn is column with each value quoted.
func (c *change) quotedColumn(query string, args ...any) ([]string, error) {
	all, err := c.column(query, args...)
	for i := range all {
		all[i] = strconv.Quote(all[i])
	}
	return all, err
}
