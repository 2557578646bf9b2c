package study

import (
	"context"
	"slices"
	"strings"
)

var chainRoles = []string{"source", "floor", "replay"}

// CheckChain refuses a chain that could not be added to any study.
func CheckChain(c Chain) error {
	if err := CheckName("chain", c.Name); err != nil {
		return err
	}
	if !slices.Contains(chainRoles, c.Role) {
		return misusedf("%v %q: %s", OptionRole, c.Role, strings.Join(chainRoles, ", "))
	}
	if c.Cost != nil && !(*c.Cost >= 0) {
		return misusedf("%v %v: zero or more", OptionCost, *c.Cost)
	}
	return checkText(OptionAbout, c.About)
}

// AddChain adds a chain: a source, the recorder's own floor, or the replay chain.
func (s *Study) AddChain(ctx context.Context, c Chain) error {
	if err := CheckChain(c); err != nil {
		return err
	}
	return InStudy(s.record.AddChain(ctx, c))
}

// maxFileName is the longest name that becomes part of a file's, in bytes: three of them and a hash stay below the limit of 255 bytes of
// file systems.
const maxFileName = 60

// CheckName refuses names that cannot be part of a file name on every system.
func CheckName(what, name string) error {
	if name == "" || len(name) > maxFileName {
		return misusedf("%s name %q: 1 to %d characters", what, name, maxFileName)
	}
	for _, r := range name {
		if !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.+", r) {
			return misusedf("%s name %q: letters, digits and - _ . + only, not %q", what, name, r)
		}
	}
	if strings.HasPrefix(name, ".") || strings.HasPrefix(name, "-") {
		return misusedf("%s name %q: must begin with a letter or digit", what, name)
	}
	return nil
}
