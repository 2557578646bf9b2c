package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"heardiff/trials"
)

// Record returns the entries of the study's record, in their order.
func (s *Store) Record(ctx context.Context) ([]RecordEntry, error) {
	return list(ctx, s.db, scanRecordEntry, selectRecord)
}

// Public reports whether the body of e may be published: entries on the study, its chains, plans, sessions and their journals.
// For what listeners said about themselves, and what a page does not print, only the digest is published.
func (e RecordEntry) Public() bool {
	noun, _, _ := strings.Cut(e.Kind, " ")
	return slices.Contains([]string{"study", "chain", "plan", "session", kindJournal}, noun)
}

// ReadRecordEntry returns the entry with the given hash and body whose Hashed is text. It is an error if text is not exactly
// the Hashed of an entry; Follow checks hash and body.
func ReadRecordEntry(text, hash, body string) (RecordEntry, error) {
	var e RecordEntry
	if err := json.Unmarshal([]byte(text), &e); err != nil {
		return e, fmt.Errorf("cannot be read: %w", err)
	}
	if e.Hashed() != text {
		return e, errors.New("cannot be read: not in the form of an entry")
	}
	e.Hash, e.Body = hash, body
	return e, nil
}

// Published is a record outside its study, with only the public bodies.
type Published struct {
	Head Head
	// Faults names each edit that was found, one a line.
	Faults []string
	record *replayed
}

// Follow checks the chain of a published record, and each body against its digest.
func Follow(all []RecordEntry) Published {
	r := goThrough(all, true)
	return Published{r.head, r.faults, r}
}

// Title returns the title of the study, "" where it is not known.
func (p Published) Title() string { return p.column("study", "1", "title") }

func (p Published) column(table, subject, column string) string {
	return plainText(p.record.rows[table][subject][column])
}

// Plan checks the text of a plan, as it was stored.
func (p Published) Plan(id, text string) []string {
	t := tableNamed("plans")
	was, known := p.record.rows[t.name][id]
	switch {
	case p.record.tainted[t.noun+"\x00"+id]:
	case !known:
		return []string{fmt.Sprintf("plan %q is not in the record", id)}
	case was != nil && string(was["body"]) != string(encodeValue(text)):
		return []string{fmt.Sprintf("plan %q is not the one that the record knows", id)}
	}
	return nil
}

// Session checks the journal of a session, and its seat, against the record.
func (p Published) Session(entries []trials.Entry) []string {
	if len(entries) == 0 {
		return []string{"a session without entries"}
	}
	v := AuditedSession{ID: entries[0].Session, Entries: entries, Listener: p.ListenerOf(entries[0].Session)}
	v.Site = p.column("sessions", v.ID, "site")
	if p.record.tainted["session\x00"+v.ID] {
		return nil
	}
	if p.record.rows["sessions"][v.ID] == nil {
		return []string{"it is not in the record"}
	}
	v.Faults = p.record.journalFaults(v.ID, entries)
	inspector{record: p.record, study: p.column("study", "1", "id")}.checkSeat(&v)
	return v.Faults
}

// ListenerOf returns the listener of a session, "" if unknown.
func (p Published) ListenerOf(session string) string {
	return p.column("sessions", session, "listener")
}

// PlanOf returns the id of the plan of a session, "" where that is not known.
func (p Published) PlanOf(session string) string { return p.column("sessions", session, "plan") }

// FollowEnd checks only the last entry of a record: its hash is the head.
func FollowEnd(e RecordEntry) Published {
	r := goThrough(nil, true)
	r.head = Head{e.Number, e.Hash, trials.ShortHead(e.Hash)}
	if e.hash() != e.Hash {
		r.fault("record: entry %d of the record (%s %q) was changed after it was written", e.Number, e.Kind, e.Subject)
	}
	return Published{r.head, r.faults, r}
}
