package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"

	"heardiff/trials"
)

// inspector holds what the sessions of a study are checked against.
type inspector struct {
	record   *replayed
	older    bool
	study    string // its id
	plans    map[string]*trials.Plan
	outcomes map[string]string
}

// auditSessions checks each session and passes it to visit.
func (s *Store) auditSessions(ctx context.Context, tx *sql.Tx, r *replayed, a *Audit, visit func(AuditedSession) error) error {
	i := inspector{record: r, older: a.Older, outcomes: map[string]string{}}
	if err := tx.QueryRowContext(ctx, `SELECT id FROM study`).Scan(&i.study); err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	kept, err := list(ctx, tx, scanOutcome, `SELECT session, version, body FROM outcomes WHERE version = $1`, trials.SummaryVersion)
	if err != nil {
		return err
	}
	for _, o := range kept {
		i.outcomes[o.session] = o.body
	}
	if i.plans, err = readablePlans(ctx, tx); err != nil {
		return err
	}
	sessions, err := list(ctx, tx, func(row scanner) (v AuditedSession, err error) {
		err = row.Scan(&v.ID, &v.Plan, &v.Listener, &v.Site)
		return v, err
	}, `SELECT id, plan, listener, site FROM sessions ORDER BY rowid`)
	if err != nil {
		return err
	}
	for _, one := range sessions {
		if one.Entries, one.Faults, err = readJournal(ctx, tx, one.ID); err != nil {
			return err
		}
		i.inspect(&one)
		if err := visit(one); err != nil {
			return err
		}
	}
	return nil
}

// inspect adds the faults of a session whose journal was read.
func (i inspector) inspect(v *AuditedSession) {
	if n := len(v.Entries); n > 0 {
		v.Ended = v.Entries[n-1].Kind == trials.EntryEnd
		if v.Entries[0].Session != v.ID {
			v.Faults = []string{fmt.Sprintf("its entries belong to session %q", v.Entries[0].Session)}
			return
		}
	}
	if !i.older {
		v.Faults = append(v.Faults, i.record.journalFaults(v.ID, v.Entries)...)
	}
	i.checkSeat(v)
	i.checkOutcome(v)
}

func (v *AuditedSession) fault(format string, args ...any) {
	v.Faults = append(v.Faults, fmt.Errorf(format, args...).Error())
}

// checkSeat checks the row against what the seal covers.
func (i inspector) checkSeat(v *AuditedSession) {
	if len(v.Entries) == 0 || v.Entries[0].Seat == nil {
		return
	}
	seat := v.Entries[0].Seat
	listener := seat.Listener
	if v.Site != "" {
		listener = ForeignListener(seat.Listener, v.Site)
	}
	switch {
	case i.older:
		v.fault("it was begun under a record of the study, which is gone")
	case seat.Study != i.study:
		v.fault("it was sealed for another study, %.8s", seat.Study)
	case listener != v.Listener:
		v.fault("it was sealed for listener %q, and is said to be of %q", listener, v.Listener)
	}
}

// ForeignListener is the local name of a listener of another site, with its fingerprint: two sites may both have an L1.
func ForeignListener(id, site string) string { return fmt.Sprintf("%s@%.8s", id, site) }

// checkOutcome recomputes the session and compares the stored outcome with the result.
func (i inspector) checkOutcome(v *AuditedSession) {
	body, kept := i.outcomes[v.ID]
	if !v.Ended {
		if kept {
			v.fault("counts are kept of it, and it has not ended: nobody counts them")
		}
		return
	}
	if len(v.Faults) > 0 {
		return // a session with faults has no outcome
	}
	plan := i.plans[v.Plan]
	if plan == nil {
		v.fault("its plan %q is not there, or cannot be read", v.Plan)
		return
	}
	result, err := trials.Reveal(*plan, v.Entries)
	if err != nil {
		v.fault("%w", err)
		return
	}
	var was trials.Summary
	if kept && (json.Unmarshal([]byte(body), &was) != nil || !reflect.DeepEqual(was, result.Summary())) {
		v.fault("the counts kept of it are not those of its entries")
	}
}

// readablePlans returns the plans that can be read, by their id.
func readablePlans(ctx context.Context, q querier) (map[string]*trials.Plan, error) {
	all := map[string]*trials.Plan{}
	_, err := list(ctx, q, func(row scanner) (p trials.Plan, err error) {
		var id, body string
		if err := row.Scan(&id, &body); err != nil {
			return p, err
		}
		if json.Unmarshal([]byte(body), &p) == nil {
			all[id] = &p
		}
		return p, nil
	}, `SELECT id, body FROM plans`)
	return all, err
}

// journalRow is a row of the table of entries.
type journalRow struct {
	number int
	body   string
}

// readJournal reads a session's journal. It reports each row that is not exactly what was written for its entry or, if there is
// none, the first entry that does not follow the one before.
func readJournal(ctx context.Context, q querier, session string) (entries []trials.Entry, faults []string, err error) {
	lines, err := list(ctx, q, func(row scanner) (l journalRow, err error) {
		err = row.Scan(&l.number, &l.body)
		return l, err
	}, `SELECT number, body FROM entries WHERE session = $1 ORDER BY number`, session)
	var moved []string
	for _, l := range lines {
		var e trials.Entry
		if json.Unmarshal([]byte(l.body), &e) != nil {
			return entries, append(faults, fmt.Sprintf("entry %d cannot be read", l.number)), err
		}
		exact, _ := json.Marshal(e) // what was just decoded can be encoded, except an impossible time, which then differs
		if string(exact) != l.body || !e.Intact() {
			faults = append(faults, fmt.Sprintf("entry %d was changed after it was written", l.number))
		} else if e.Number != l.number {
			moved = append(moved, fmt.Sprintf("entry %d has the number %d", e.Number, l.number))
		}
		entries = append(entries, e)
	}
	if broken := trials.CheckChain(entries); len(faults) == 0 && broken != nil {
		return entries, []string{broken.Error()}, err
	}
	return entries, append(faults, moved...), err
}

// journalFaults checks a journal against the milestones in the record.
func (r *replayed) journalFaults(session string, entries []trials.Entry) []string {
	if r.tainted[kindJournal+"\x00"+session] {
		return nil
	}
	last := 0
	for _, m := range r.journals[session] {
		last = m.Number
		switch {
		case m.Number > len(entries):
			return []string{fmt.Sprintf("its journal has %d entries, and the record knows entry %d (%s): the others were removed", len(entries), m.Number, m.Kind)}
		case entries[m.Number-1].Hash != m.Hash || entries[m.Number-1].Kind != m.Kind:
			return []string{fmt.Sprintf("entry %d is not the one that the record knows (%s)", m.Number, m.Kind)}
		}
	}
	for _, e := range entries {
		if milestones[e.Kind] && e.Number > last {
			return []string{fmt.Sprintf("entry %d (%s) is not in the record", e.Number, e.Kind)}
		}
	}
	return nil
}
