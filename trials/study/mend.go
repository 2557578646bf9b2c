package study

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"heardiff/trials"
	"heardiff/trials/store"
)

// checkWhy refuses a reason that cannot be stored.
func checkWhy(why string) error { return checkText(OptionWhy, why) }

// Retitle gives the study another title, and returns the one that it had. Bundles and reports made before keep theirs.
func (s *Study) Retitle(ctx context.Context, title, why string) (was string, err error) {
	if err := cmp.Or(Misused(trials.CheckName("the title", title)), checkWhy(why)); err != nil {
		return "", err
	}
	of, err := s.Study(ctx)
	if err != nil {
		return "", err
	}
	return of.Title, s.record.Retitle(ctx, title, why)
}

// ChainCorrection is the new description of a chain; a nil field leaves what it describes unchanged.
type ChainCorrection struct {
	About, Role, After *string
	Cost               *float64
	// NoCost takes away a cost that was given.
	NoCost bool
}

// of returns the corrected chain.
func (k ChainCorrection) of(c Chain) Chain {
	for _, field := range []struct{ to, from *string }{{&c.About, k.About}, {&c.Role, k.Role}, {&c.After, k.After}} {
		if field.from != nil {
			*field.to = *field.from
		}
	}
	if k.Cost != nil || k.NoCost {
		c.Cost = k.Cost
	}
	return c
}

// CorrectChain corrects the description of a chain, and returns it as it is now; the record keeps the earlier description, and why it was
// wrong. A role on which measurements or results rest stays.
func (s *Study) CorrectChain(ctx context.Context, name string, k ChainCorrection, why string) (Chain, error) {
	c, err := s.Chain(ctx, name)
	if err != nil {
		return c, InStudy(err)
	}
	c = k.of(c)
	if err := cmp.Or(CheckChain(c), checkWhy(why)); err != nil {
		return c, err
	}
	if err := s.checkFeeding(ctx, c); err != nil {
		return c, err
	}
	return c, s.stays(name, s.record.CorrectChain(ctx, c, why))
}

// checkFeeding refuses a chain that would feed itself, directly or through others.
func (s *Study) checkFeeding(ctx context.Context, c Chain) error {
	all, err := s.Chains(ctx)
	if err != nil {
		return err
	}
	fedBy := map[string]string{}
	for _, one := range all {
		fedBy[one.Name] = one.After
	}
	up := c.After
	for range all { // no chain of chains is longer than that
		if up == c.Name {
			return Rejected(fmt.Errorf("chain %q after %q: it would feed itself", c.Name, c.After), "name the chain whose output it gets")
		}
		up = fedBy[up]
	}
	return nil
}

// RenameChain gives a chain another name as long as no excerpt or plan holds it, and returns it as it is now.
func (s *Study) RenameChain(ctx context.Context, name, to, why string) (Chain, error) {
	if err := cmp.Or(CheckName("chain", to), checkWhy(why)); err != nil {
		return Chain{}, err
	}
	if err := s.stays(name, s.record.RenameChain(ctx, name, to, why)); err != nil {
		return Chain{}, err
	}
	return s.Chain(ctx, to)
}

// RemoveChain removes a chain to which nothing refers from the study, with the figures that were entered for it; the record keeps both, and
// why they were removed. It returns the chain as it was.
func (s *Study) RemoveChain(ctx context.Context, name, why string) (Chain, error) {
	if err := checkWhy(why); err != nil {
		return Chain{}, err
	}
	c, err := s.Chain(ctx, name)
	if err != nil {
		return c, InStudy(err)
	}
	return c, s.stays(name, s.record.RemoveChain(ctx, name, why))
}

// RemoveExcerpt removes an excerpt that no plan plays from the study, with its doses, and deletes its files; the record keeps what it was,
// and why it was removed. It returns the excerpt as it was.
func (s *Study) RemoveExcerpt(ctx context.Context, name, why string) (Excerpt, error) {
	if err := checkWhy(why); err != nil {
		return Excerpt{}, err
	}
	e, err := s.excerpt(ctx, name)
	if err != nil {
		return e, InStudy(err)
	}
	if err := s.stays(name, s.record.RemoveExcerpt(ctx, name, why)); err != nil {
		return e, err
	}
	for _, place := range placesOf(e) {
		// The record decides what is in the study: a file that stays behind does no harm.
		if err := s.dropAudio(ctx, place); err != nil {
			s.warn("the study's copy %s stays: %v", place, err)
		}
	}
	return e, nil
}

// placesOf returns where the audio of an excerpt is: a folder of its own or, for an excerpt that came in a kit, each file.
func placesOf(e Excerpt) []string {
	var places []string
	for _, p := range e.Presentations {
		place := p.Path
		if dir := path.Dir(place); path.Base(dir) == e.Name {
			place = dir
		}
		if !slices.Contains(places, place) {
			places = append(places, place)
		}
	}
	return places
}

// excerpt returns one excerpt, or ErrNotFound, wrapped.
func (s *Study) excerpt(ctx context.Context, name string) (Excerpt, error) {
	all, err := s.Excerpts(ctx)
	for _, e := range all {
		if e.Name == name {
			return e, err
		}
	}
	return Excerpt{}, errors.Join(err, fmt.Errorf("excerpt %q: %w", name, ErrNotFound))
}

// stays marks an error about a chain or excerpt that cannot be corrected or removed as rejected, and names what can be done instead.
func (s *Study) stays(name string, err error) error {
	var used *store.InUse
	if !errors.As(err, &used) {
		return InStudy(err)
	}
	first := strings.Trim(used.Names[0], `"`)
	hints := map[string]Phrase{
		"plan": phrasef("results may rest on it, so it stays as it is; what is said of a chain can be corrected (%v), and another chain or excerpt planned",
			call(ToCorrectChain)),
		"excerpt": phrasef("remove that excerpt first, if it is not needed: %v", call(ToRemoveExcerpt, with(OptionExcerpt, first))),
		"chain":   phrasef("correct that chain first: %v", call(ToCorrectChain, with(OptionName, first), with(OptionAfter, ""))),
		"capture": phrasef("remove its captures first: %v", call(ToRemoveCapture, with(OptionCapture, first))),
		"figure":  phrasef("what was entered of it was read in that role: remove it (%v) and add it anew", call(ToRemoveChain, with(OptionName, name))),
	}
	return advised(Rejection, err, hints[used.Noun])
}
