package bundle

import (
	"errors"
	"strings"
	"testing"
)

// The list of sessions begun must match the sessions in the bundle; a signed list that does not is rejected.
func TestTheListOfSessionsBegunIsTrue(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(all []Begun) []Begun
		bad  bool
	}{
		{"as it is", func(all []Begun) []Begun { return all }, false},
		{"none, as of old", func([]Begun) []Begun { return nil }, false},
		{"one more that was left", func(all []Begun) []Begun {
			return append(all, Begun{Number: 4, Session: "left", Seal: strings.Repeat("ab", 32)})
		}, false},
		{"a number twice", func(all []Begun) []Begun { all[1].Number = 1; return all }, true},
		{"a session twice", func(all []Begun) []Begun {
			return append(all, Begun{Number: 4, Session: all[0].Session, Seal: all[0].Seal})
		}, true},
		{"a session that came is missing", func(all []Begun) []Begun { return all[:1] }, true},
		{"another seal", func(all []Begun) []Begun { all[0].Seal = strings.Repeat("ab", 32); return all }, true},
		{"one that came is said to run", func(all []Begun) []Begun { all[0].Ended = false; return all }, true},
		{"one that has ended was kept back", func(all []Begun) []Begun {
			suffix := all[0].Session[strings.LastIndex(all[0].Session, "-"):]
			return append(all, Begun{Number: 4, Session: "kept" + suffix, Seal: strings.Repeat("ab", 32), Ended: true})
		}, true},
		{"number zero", func(all []Begun) []Begun { all[0].Number = 0; return all }, true},
		{"an id of 65 letters", func(all []Begun) []Begun {
			return append(all, Begun{Number: 4, Session: strings.Repeat("i", 65), Seal: strings.Repeat("ab", 32)})
		}, true},
		{"no seal at all", func(all []Begun) []Begun { return append(all, Begun{Number: 4, Session: "left", Seal: "lead"}) }, true},
	} {
		d := draft(t)
		for i, s := range d.Content.Sessions {
			d.Content.Begun = append(d.Content.Begun, Begun{Number: i + 1, Session: s.ID, Seal: s.Entries[0].Note, Ended: true})
		}
		d.Content.Begun = c.edit(d.Content.Begun)
		_, err := read(forge(t, encode(t, d.Content), nil))
		if c.bad != errors.Is(err, ErrRecord) || !c.bad && err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
