package storetest

import (
	"context"
	"reflect"
	"strings"
	"testing"
	"time"

	"heardiff/trials/store"
)

// tampered opens the database of a study behind the store's back, without its guards.
func tampered(t *testing.T, b Backend, s *store.Store) *tampering {
	t.Helper()
	conn, err := b.Raw(t, s).Conn(context.Background())
	check(t, err)
	t.Cleanup(func() { conn.Close() })
	e := &tampering{T: t, study: s, conn: conn}
	e.dropGuards()
	return e
}

func audit(t *testing.T, s *store.Store) store.Audit {
	t.Helper()
	a, err := s.Audit(context.Background(), func(store.AuditedSession) error { return nil })
	check(t, err)
	return a
}

// A study from before records were kept is read, and is reported as of the older kind; its record begins, when something is added, with
// what is found then.
func olderStudies(t *testing.T, b Backend) {
	ctx, s := context.Background(), b.New(t, time.Now)
	answerAll(WithSession(t, s, 2))
	e := tampered(t, b, s)
	check(t, e.exec(`DELETE FROM record`))
	check(t, e.exec(`UPDATE study SET recorded = ''`))
	if found := faults(t, s); len(found) > 0 || !audit(t, s).Older {
		t.Fatalf("older kind %v, %q", audit(t, s).Older, found)
	}
	if kept, err := s.Outcomes(ctx); err != nil || len(kept) != 0 {
		t.Errorf("counts that nobody vouches for: %v, %v", kept, err)
	}
	check(t, s.AddChain(ctx, store.Chain{Name: "left", Role: "source"}))
	a := audit(t, s)
	if a.Older || a.Since == "" || len(faults(t, s)) > 0 {
		t.Errorf("older %v, since %q, %q", a.Older, a.Since, faults(t, s))
	}
	check(t, e.exec(`UPDATE listeners SET grouping = 'another'`))
	if found := faults(t, s); len(found) != 1 || !strings.Contains(found[0], `group was "trained", and is "another"`) {
		t.Errorf("an edit after the record began: %q", found)
	}
}

// The record cannot be taken away from a study whose sessions were sealed in it.
func recordTakenAway(t *testing.T, b Backend) {
	s := filled(t, b)
	e := tampered(t, b, s)
	check(t, e.exec(`DELETE FROM record`))
	check(t, e.exec(`UPDATE study SET recorded = ''`))
	if found := faults(t, s); len(found) != 2 || !strings.Contains(found[0], "begun under a record") {
		t.Errorf("found %q", found)
	}
}

// Counts are trusted if the record holds both them and the end of their session, and not otherwise.
func countsAreNotTrusted(t *testing.T, b Backend) {
	ctx, s := context.Background(), filled(t, b)
	sound, err := s.Outcomes(ctx)
	check(t, err)
	if _, ok := sound["s1"]; !ok || len(sound) != 5 {
		t.Fatalf("%d outcomes", len(sound))
	}
	e := tampered(t, b, s)
	check(t, e.exec(`INSERT INTO outcomes (session, version, body) SELECT 's2', version, body FROM outcomes WHERE session = 's1'`))
	if now, err := s.Outcomes(ctx); err != nil || !reflect.DeepEqual(now, sound) {
		t.Errorf("counts made up of a session that runs: %v, %v", now, err)
	}
	for what, edit := range map[string]string{
		"counts changed":            `UPDATE outcomes SET body = replace(body, '"voids":0', '"voids":7') WHERE session = 's1'`,
		"the end of the session":    `DELETE FROM entries WHERE session = 's1' AND number = (SELECT MAX(number) FROM entries WHERE session = 's1')`,
		"an entry of the record":    `UPDATE record SET subject = 'another' WHERE number = 3`,
		"the record of the outcome": `DELETE FROM record WHERE kind = 'outcome' AND subject LIKE '%s1%'`,
	} {
		s := filled(t, b)
		check(t, tampered(t, b, s).exec(edit))
		if now, err := s.Outcomes(ctx); err != nil || reflect.DeepEqual(now["s1"], sound["s1"]) || now["s1"].Voids != 0 {
			t.Errorf("%s: %v, %v", what, now["s1"], err)
		}
	}
}
