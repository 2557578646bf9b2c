package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"heardiff/trials"
)

// Audit is the result of checking a study against its record.
type Audit struct {
	Head Head
	// Older marks a study from before records were kept, to which nothing has been added since.
	Older bool
	// Since is when the record of such a study began, with what was found then; "" if it covers the study from its beginning.
	Since string
	// Faults describes each edit that was found, one per line.
	Faults []string
}

// AuditedSession is a session with its journal, checked against the record and, once it has ended, against its own seal.
type AuditedSession struct {
	ID, Plan, Listener string
	// Site is the fingerprint of the site where it was run, "" for this one.
	Site    string
	Entries []trials.Entry
	// Ended reports whether the journal says so.
	Ended bool
	// Faults describes what is wrong with it.
	Faults []string
}

// Audit reads the record, checks its chain, compares every row of every table with it, and recomputes every ended session.
// visit is called for each session; it must not use the store.
//
// Audit cannot detect a completely new record, which anybody with write access to the database can make. Only a head written
// down elsewhere reveals that.
func (s *Store) Audit(ctx context.Context, visit func(AuditedSession) error) (Audit, error) {
	var a Audit
	err := s.reading(ctx, func(tx *sql.Tx) error {
		r, err := replay(ctx, tx)
		if err != nil {
			return err
		}
		a.Head, a.Since = r.head, r.since
		a.Faults = r.faults
		for _, t := range tables {
			now, err := t.rows(ctx, tx)
			if err != nil {
				return err
			}
			if t.name == "study" && r.head.Entries == 0 {
				if len(now) == 1 && plainText(now[0]["recorded"]) == "" {
					a.Older = true
					break
				}
				a.Faults = append(a.Faults, "the record was removed")
			}
			a.Faults = append(a.Faults, r.compare(t, now)...)
		}
		strays, err := strayJournals(ctx, tx)
		if err != nil {
			return err
		}
		a.Faults = append(a.Faults, strays...)
		return s.auditSessions(ctx, tx, r, &a, visit)
	})
	return a, err
}

// replayed is the content of a record.
type replayed struct {
	head     Head
	since    string
	rows     map[string]map[string]row // by table and subject; nil for a row whose content is unknown
	order    map[string][]string       // the subjects in the order in which they were added
	journals map[string][]mark         // by session
	tainted  map[string]bool           // kind and subject of edited entries, which are reported once
	faults   []string
}

// replay reads and replays the record.
func replay(ctx context.Context, q querier) (*replayed, error) {
	all, err := list(ctx, q, scanRecordEntry, selectRecord)
	if err != nil {
		return nil, err
	}
	return goThrough(all, false), nil
}

// goThrough replays the entries of a record; in a published one some bodies are withheld.
func goThrough(all []RecordEntry, published bool) *replayed {
	r := &replayed{rows: map[string]map[string]row{}, order: map[string][]string{}, journals: map[string][]mark{}, tainted: map[string]bool{}}
	forgotten := map[string]int{} // by subject: the last entry before which bodies may be missing
	for _, e := range all {
		if e.Kind == kindForgotten {
			forgotten[e.Subject] = e.Number
		}
	}
	number, hash := 0, ""
	for _, e := range all {
		erased := strings.HasPrefix(e.Kind, kindListener) && e.Number < forgotten[e.Subject]
		r.follow(e, number, hash, erased || published && !e.Public())
		number, hash = e.Number, e.Hash
	}
	r.head = Head{number, hash, trials.ShortHead(hash)}
	return r
}

// follow replays one entry, given number and hash of the entry before. bare says that its body may be missing.
func (r *replayed) follow(e RecordEntry, number int, hash string, bare bool) {
	what := fmt.Sprintf("entry %d of the record (%s %q)", e.Number, e.Kind, e.Subject)
	intact := e.hash() == e.Hash
	switch {
	case e.Number != number+1:
		r.fault("record: %s does not follow entry %d: what was between them was removed", what, number)
	case !intact:
		r.fault("record: %s was changed after it was written", what)
	case e.Previous != hash:
		r.fault("record: %s does not follow the entry before it: one was changed, exchanged or added", what)
	}
	var b entryBody
	switch {
	case e.Body == "" && bare:
		if strings.HasPrefix(e.Kind, kindListener) {
			r.know(tableNamed("listeners"), e.Subject, nil)
		}
		return
	case e.Body == "":
		r.fault("record: the body of %s was removed", what)
	case digest(e.Body) != e.Digest:
		if intact {
			r.fault("record: the body of %s was changed", what)
		}
	case json.Unmarshal([]byte(e.Body), &b) != nil:
		r.fault("record: the body of %s cannot be read", what)
	case intact:
		r.apply(e, b)
		return
	}
	r.taint(e)
}

func (r *replayed) fault(format string, args ...any) {
	r.faults = append(r.faults, fmt.Sprintf(format, args...))
}

// taint marks the row of an edited entry: its correct content is unknown, and the edit has been reported already.
func (r *replayed) taint(e RecordEntry) {
	noun, _, _ := strings.Cut(e.Kind, " ")
	for _, t := range tables {
		if t.noun == noun {
			r.know(t, e.Subject, nil)
		}
	}
	r.tainted[noun+"\x00"+e.Subject] = true
}

func (r *replayed) apply(e RecordEntry, b entryBody) {
	if b.Journal != nil {
		r.journals[e.Subject] = append(r.journals[e.Subject], *b.Journal)
		return
	}
	t := tableNamed(b.Table)
	if t.name == "study" && strings.HasSuffix(e.Kind, foundSuffix) {
		r.since = e.At
	}
	if !b.Gone {
		r.know(t, t.subject(b.Row), b.Row)
		return
	}
	delete(r.rows[t.name], e.Subject)
	r.order[t.name] = slices.DeleteFunc(r.order[t.name], func(s string) bool { return s == e.Subject })
}

func (r *replayed) know(t table, subject string, v row) {
	if r.rows[t.name] == nil {
		r.rows[t.name] = map[string]row{}
	}
	if _, known := r.rows[t.name][subject]; !known {
		r.order[t.name] = append(r.order[t.name], subject)
	}
	r.rows[t.name][subject] = v
}

// compare checks the rows of a table against the record.
func (r *replayed) compare(t table, now []row) []string {
	var faults, order []string
	there := map[string]bool{}
	for _, is := range now {
		subject := t.subject(is)
		there[subject] = true
		was, known := r.rows[t.name][subject]
		switch {
		case r.tainted[t.noun+"\x00"+subject]:
		case !known:
			faults = append(faults, fmt.Sprintf("%s: is not in the record: it was added behind it, or renamed", t.call(subject)))
			continue
		case was != nil:
			faults = append(faults, t.differences(subject, was, is)...)
		}
		order = append(order, subject)
	}
	var expected []string
	for _, subject := range r.order[t.name] {
		if there[subject] {
			expected = append(expected, subject)
		} else if !r.tainted[t.noun+"\x00"+subject] {
			faults = append(faults, fmt.Sprintf("%s: was removed", t.call(subject)))
		}
	}
	order = slices.DeleteFunc(order, func(s string) bool { _, known := r.rows[t.name][s]; return !known })
	if t.order != "" && !slices.Equal(order, expected) {
		faults = append(faults, fmt.Sprintf("%s: their order was changed", t.name))
	}
	return faults
}

// call names a row.
func (t table) call(subject string) string {
	if t.name == "study" {
		return "the study"
	}
	if len(t.key) > 1 { // quoted part by part
		return t.noun + " " + subject
	}
	return fmt.Sprintf("%s %q", t.noun, subject)
}

// differences returns a line for each column that has changed.
func (t table) differences(subject string, was, is row) []string {
	var faults []string
	for _, column := range slices.Sorted(maps.Keys(is)) {
		then, known := was[column]
		if !known {
			then = json.RawMessage(t.added[column])
		}
		if !bytes.Equal(then, is[column]) {
			faults = append(faults, fmt.Sprintf("%s: %s was %s, and is %s", t.call(subject), shownColumn(column), shownValue(then), shownValue(is[column])))
		}
	}
	for _, column := range slices.Sorted(maps.Keys(was)) {
		if _, there := is[column]; !there {
			faults = append(faults, fmt.Sprintf("%s: %s is gone", t.call(subject), shownColumn(column)))
		}
	}
	return faults
}

// shownColumn returns the name of a column that users know.
func shownColumn(name string) string {
	switch name {
	case "grouping":
		return "group"
	case "fed_by":
		return "after"
	case "bound":
		return "limit"
	}
	return name
}

func shownValue(v json.RawMessage) string {
	const most = 80
	var long struct{ SHA256 string }
	switch {
	case len(v) == 0:
		return "not known to the record"
	case string(v) == "null":
		return "none"
	case len(v) > most && v[0] == '"':
		return shownValue(encodeValue([]byte(plainText(v))))
	case json.Unmarshal(v, &long) == nil && long.SHA256 != "":
		return fmt.Sprintf("something with the SHA-256 %.12s…", long.SHA256)
	}
	return string(v)
}

// strayJournals reports entries of sessions that do not exist.
func strayJournals(ctx context.Context, q querier) ([]string, error) {
	return list(ctx, q, func(row scanner) (string, error) {
		var session string
		err := row.Scan(&session)
		return fmt.Sprintf("session %q: its entries are there, and it is not", session), err
	}, `SELECT DISTINCT session FROM entries WHERE session NOT IN (SELECT id FROM sessions) ORDER BY session`)
}
