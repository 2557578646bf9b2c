package storetest

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/store"
)

// A change of what is in the record is refused, even from another program that opens the file.
func guardsItself(t *testing.T, b Backend) {
	s := b.New(t, time.Now)
	session := WithSession(t, s, 4)
	Answer(t, session)
	db := b.Raw(t, s)
	for _, tt := range []struct{ name, statement, want string }{
		{"an entry changed", `UPDATE entries SET body = '{}'`, "never changed"},
		{"an entry removed", `DELETE FROM entries`, "never removed"},
		{"a session removed", `DELETE FROM sessions`, "never removed"},
		{"a plan changed under its session", `UPDATE plans SET body = '{}'`, "cannot change"},
		{"a plan removed under its session", `DELETE FROM plans`, "foreign key"},
		{"a listener removed under a session", `DELETE FROM listeners`, "foreign key"},
	} {
		if _, err := db.Exec(tt.statement); err == nil || !strings.Contains(strings.ToLower(err.Error()), tt.want) {
			t.Errorf("%s: error %v, want %q", tt.name, err, tt.want)
		}
	}
}

// When two programs continue the same session they must not both write: the second is refused, and nothing of the first is lost.
func secondWriter(t *testing.T, b Backend) {
	ctx := context.Background()
	s := b.New(t, time.Now)
	first := WithSession(t, s, 4)
	entries, err := s.Entries(ctx, "s1")
	if err != nil {
		t.Fatal(err)
	}
	second, err := trials.Resume(first.Plan(), trials.Seed{1}, entries, s.Journal(ctx), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	Answer(t, first)
	second.Heard(trials.LabelX, 1)
	second.Heard(trials.LabelA, 1)
	if err := second.Ask(trials.AnswerB, 0); err != nil {
		t.Fatal(err)
	}
	if err := second.Confirm(); !errors.Is(err, store.ErrExists) {
		t.Errorf("error %v, want ErrExists", err)
	}
	if second.View().Trial != 1 {
		t.Error("the refused session went on")
	}
	kept, err := s.Entries(ctx, "s1")
	if err != nil || len(kept) != len(entries)+1 || trials.CheckChain(kept) != nil {
		t.Errorf("%d entries, error %v, chain %v", len(kept), err, trials.CheckChain(kept))
	}
}

// A full disk: the answer is refused, nothing is half-written, and once there is room the same answer is kept.
func fullDisk(t *testing.T, b Backend) {
	ctx := context.Background()
	s := b.New(t, time.Now)
	session := WithSession(t, s, trials.MaxTrials)
	full := errors.New("no space")
	gate := &gatedJournal{Journal: s.Journal(ctx), err: full}
	entries, err := s.Entries(ctx, "s1")
	if err != nil {
		t.Fatal(err)
	}
	session, err = trials.Resume(session.Plan(), trials.Seed{1}, entries, gate, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	session.Heard(trials.LabelX, 1)
	session.Heard(trials.LabelB, 1)
	if err := session.Ask(trials.AnswerA, 2); err != nil {
		t.Fatal(err)
	}
	if err := session.Confirm(); !errors.Is(err, full) {
		t.Fatalf("error %v, want the disk's", err)
	}
	if v := session.View(); v.Phase != trials.Asked || v.Trial != 1 || v.Pending != trials.AnswerA {
		t.Errorf("after the refusal: %+v", v)
	}
	gate.err = nil
	if err := session.Confirm(); err != nil {
		t.Fatal(err)
	}
	kept, err := s.Entries(ctx, "s1")
	if err != nil || len(kept) != len(entries)+1 || kept[len(kept)-1].Answer != trials.AnswerA {
		t.Errorf("kept %d entries of %d, error %v", len(kept), len(entries)+1, err)
	}
}

type gatedJournal struct {
	trials.Journal
	err error
}

// Append implements trials.Journal.
func (g *gatedJournal) Append(e trials.Entry) error {
	if g.err != nil {
		return g.err
	}
	return g.Journal.Append(e)
}
