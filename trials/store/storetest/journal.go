package storetest

import (
	"context"
	"errors"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/store"
)

// entry is the n-th entry of a session that WithSession has begun.
func entry(n int, note string) trials.Entry {
	e := trials.Entry{Session: "s1", Number: n, Kind: trials.EntryFlag, Note: note, At: time.Date(2030, 1, 2, 3, 4, 5, 0, time.UTC)}
	e.Hash = e.Digest()
	return e
}

// When the acknowledgement of a commit was lost the store is asked: an entry that was kept counts as kept, and another entry in its place
// is refused.
func keptIsKept(t *testing.T, b Backend) {
	ctx, s := context.Background(), b.New(t, time.Now)
	WithSession(t, s, 3)
	journal := s.Journal(ctx)
	for range 2 {
		if err := journal.Append(entry(3, "a lorry")); err != nil {
			t.Errorf("the same entry once more: %v", err)
		}
	}
	if err := journal.Append(entry(3, "a dog")); !errors.Is(err, store.ErrExists) {
		t.Errorf("another entry of the same number: %v", err)
	}
	entries, err := s.Entries(ctx, "s1")
	if err != nil || len(entries) != 3 || entries[2].Note != "a lorry" {
		t.Errorf("%d entries, %v", len(entries), err)
	}
}

// An interrupt while an answer is on its way lets it arrive, and it is reported as kept.
func interruptedCommit(t *testing.T, b Backend) {
	s := b.New(t, time.Now)
	WithSession(t, s, 3)
	ctx, interrupt := context.WithCancel(context.Background())
	interrupt()
	if err := s.Journal(ctx).Append(entry(3, "a lorry")); err != nil {
		t.Errorf("an entry that was on its way: %v", err)
	}
	if entries, err := s.Entries(context.Background(), "s1"); err != nil || len(entries) != 3 {
		t.Errorf("%d entries, %v", len(entries), err)
	}
}
