package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// Correction is a part of a study that was corrected: what it was, and what it is now.
type Correction struct {
	// At is when, RFC 3339, in UTC.
	At string `json:"at"`
	// Number is the number of the record's entry.
	Number int    `json:"number"`
	Says   string `json:"says"`
	Why    string `json:"why"` // "" where no reason was given
}

// Corrections returns which of the study's title, chains, captures, excerpts and entered figures were corrected, renamed or removed, in the
// order of the record.
func (s *Store) Corrections(ctx context.Context) ([]Correction, error) {
	all, err := s.Record(ctx)
	if err != nil {
		return nil, err
	}
	var list []Correction
	renamed := ""            // the new name of a chain whose old one comes next
	rows := map[string]row{} // by table and subject
	for _, e := range all {
		var b entryBody
		if e.Body == "" || json.Unmarshal([]byte(e.Body), &b) != nil || b.Journal != nil {
			continue
		}
		key := b.Table + "\x00" + e.Subject
		says := tableNamed(b.Table).corrected(e.Subject, rows[key], b)
		if strings.HasSuffix(e.Kind, " renamed") {
			switch says = ""; {
			case b.Table == "chains" && b.Gone:
				says = fmt.Sprintf("chain %q: is called %q", e.Subject, renamed)
			case b.Table == "chains":
				renamed = e.Subject
			}
		}
		if says != "" {
			list = append(list, Correction{e.At, e.Number, says, b.Why})
		}
		if rows[key] = b.Row; b.Gone {
			delete(rows, key)
		}
	}
	return list, nil
}

// corrected says what an entry changes of a row; "" where it changes nothing that a list names.
func (t table) corrected(subject string, was row, b entryBody) string {
	switch {
	case !slices.Contains([]string{"study", "chains", "captures", "excerpts", "entered"}, t.name):
		return ""
	case b.Gone:
		return t.call(subject) + ": was removed"
	case was == nil:
		return ""
	}
	lines := t.differences(subject, was, b.Row)
	for i := 1; i < len(lines); i++ {
		lines[i] = strings.TrimPrefix(lines[i], t.call(subject)+": ")
	}
	return strings.Join(lines, "; ")
}
