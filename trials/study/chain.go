package study

import (
	"context"
	"slices"
	"strings"

	"heardiff/trials"
)

var chainRoles = []string{"source", "floor", "replay"}

// CheckChain refuses a chain that could not be added to any study.
func CheckChain(c Chain) error {
	if err := CheckName("chain", c.Name); err != nil {
		return err
	}
	if !slices.Contains(chainRoles, c.Role) {
		return Misusedf("--role %q: %s", c.Role, strings.Join(chainRoles, ", "))
	}
	if err := trials.CheckText("--about", c.About); err != nil {
		return Misused(err)
	}
	if c.Cost != nil && !(*c.Cost >= 0) {
		return Misusedf("--cost %v: zero or more", *c.Cost)
	}
	return nil
}

// AddChain adds a chain: a source, the recorder's own floor, or the replay chain.
func (s *Study) AddChain(ctx context.Context, c Chain) error {
	if err := CheckChain(c); err != nil {
		return err
	}
	return InStudy(s.record.AddChain(ctx, c))
}

// CheckName refuses names that cannot be part of a file name on every system.
func CheckName(what, name string) error {
	if name == "" || len(name) > 60 {
		return Misusedf("%s name %q: 1 to 60 characters", what, name)
	}
	for _, r := range name {
		if !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.+", r) {
			return Misusedf("%s name %q: letters, digits and - _ . + only, not %q", what, name, r)
		}
	}
	if strings.HasPrefix(name, ".") || strings.HasPrefix(name, "-") {
		return Misusedf("%s name %q: must begin with a letter or digit", what, name)
	}
	return nil
}
