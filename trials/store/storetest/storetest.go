// Package storetest holds what every database under the store must pass: the same tests for each.
package storetest

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/store"
)

// Backend is one database under test.
type Backend struct {
	// New makes a study in a new folder.
	New func(t testing.TB, now func() time.Time) *store.Store
	// Open opens the study in dir once more, as another process would.
	Open func(ctx context.Context, dir string) (*store.Store, error)
	// Raw opens the database of s behind the store's back.
	Raw func(t testing.TB, s *store.Store) *sql.DB
	// Newer is a statement that marks the schema as a newer heardiff's.
	Newer string
	// Kills is how often a writing process is killed.
	Kills int
	// Full runs whole grids.
	Full bool
}

// Run runs every test against b.
func Run(t *testing.T, b Backend) {
	for name, test := range map[string]func(t *testing.T, b Backend){
		"study can be moved":                       canBeMoved,
		"names and files are unique":               unique,
		"a newer schema is refused":                newerRefused,
		"one listens at a time":                    oneListens,
		"stored rows do not tell the assignment":   rowsDoNotTell,
		"the record guards itself":                 guardsItself,
		"older studies":                            olderStudies,
		"the record is taken away":                 recordTakenAway,
		"counts are not trusted":                   countsAreNotTrusted,
		"the record survives kills":                recordSurvivesKill,
		"every edit is found":                      editsAreFound,
		"a second writer is refused":               secondWriter,
		"a full disk refuses the answer":           fullDisk,
		"what is kept counts as kept":              keptIsKept,
		"an interrupt lets a commit arrive":        interruptedCommit,
		"what is kept comes back":                  comesBack,
		"what is mended stays proved":              mended,
		"what is referred to stays":                usedStays,
		"an unused excerpt goes":                   unusedExcerptGoes,
		"forgotten stays forgotten":                forgotten,
		"merging is commutative and idempotent":    commutes,
		"many sites import at once":                manyAtOnce,
		"no acknowledged answer is lost to a kill": survivesKill,
	} {
		t.Run(name, func(t *testing.T) { test(t, b) })
	}
}

// Plan returns an ABX plan of n trials.
func Plan(n int) trials.Plan {
	return trials.Plan{
		ID: "1", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.3,
		Comparisons: []trials.Comparison{{Name: "one", A: "left", B: "right", AudioA: "aa", AudioB: "bb", Trials: n}},
	}
}

// WithSession adds everything that a session depends on and begins it.
func WithSession(t testing.TB, s *store.Store, n int) *trials.Session {
	t.Helper()
	ctx := context.Background()
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	check(s.AddPlan(ctx, Plan(n)))
	check(s.AddListener(ctx, store.Listener{ID: "L1", Group: "trained"}))
	check(s.AddSession(ctx, store.Session{ID: "s1", Plan: "1", Listener: "L1", Sealed: []byte{1}}))
	session, err := trials.Begin("s1", trials.Seat{}, Plan(n), trials.Seed{1}, s.Journal(ctx), time.Now)
	check(err)
	check(session.Open(""))
	return session
}

// Running is WithSession with the seed sealed as a listener's machine seals it, under a clock that does not move, and with
// half of the trials answered: what a running session leaves behind for a given seed.
func Running(t testing.TB, s *store.Store, seed trials.Seed, n int, at time.Time) {
	t.Helper()
	ctx := context.Background()
	sealed, err := trials.Key{7}.Seal(seed, "s1")
	if err != nil {
		t.Fatal(err)
	}
	err = errors.Join(s.AddPlan(ctx, Plan(n)), s.AddListener(ctx, store.Listener{ID: "L1"}),
		s.AddSession(ctx, store.Session{ID: "s1", Plan: "1", Listener: "L1", Sealed: sealed}))
	if err != nil {
		t.Fatal(err)
	}
	session, err := trials.Begin("s1", trials.Seat{}, Plan(n), seed, s.Journal(ctx), func() time.Time { return at })
	if err != nil {
		t.Fatal(err)
	}
	for range n / 2 {
		Answer(t, session)
	}
}

// Answer answers the trial at hand: X is A.
func Answer(t testing.TB, s *trials.Session) {
	t.Helper()
	s.Heard(trials.LabelX, 1)
	s.Heard(trials.LabelA, 1)
	if err := s.Ask(trials.AnswerA, 0); err != nil {
		t.Fatal(err)
	}
	if err := s.Confirm(); err != nil {
		t.Fatal(err)
	}
}

func canBeMoved(t *testing.T, b Backend) {
	s := b.New(t, time.Now)
	ctx := context.Background()
	if err := s.AddChain(ctx, store.Chain{Name: "direct", Role: "source"}); err != nil {
		t.Fatal(err)
	}
	WithSession(t, s, 3)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	moved := filepath.Join(t.TempDir(), "else where?#%41") // characters with a meaning of their own in a "file:" address
	if err := os.Rename(s.Dir(), moved); err != nil {
		t.Fatal(err)
	}
	again, err := b.Open(ctx, moved)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	chains, err := again.Chains(ctx)
	if err != nil || len(chains) != 1 || chains[0].Name != "direct" || chains[0].Cost != nil {
		t.Errorf("chains %v, %v", chains, err)
	}
	entries, err := again.Entries(ctx, "s1")
	if err != nil || len(entries) != 2 || trials.CheckChain(entries) != nil {
		t.Errorf("%d entries, %v, chain %v", len(entries), err, trials.CheckChain(entries))
	}
}

func unique(t *testing.T, b Backend) {
	s, ctx := b.New(t, time.Now), context.Background()
	c := store.Capture{Chain: "direct", Kind: "jitter", Path: "audio/1.wav", SHA256: "11", RateHz: 48000}
	if _, err := s.AddCapture(ctx, c); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("capture of an unknown chain: %v", err)
	}
	for i, want := range []error{nil, store.ErrExists} {
		if err := s.AddChain(ctx, store.Chain{Name: "direct", Role: "source"}); !errors.Is(err, want) {
			t.Errorf("chain added %d times: %v", i+1, err)
		}
	}
	if _, err := s.AddCapture(ctx, c); err != nil {
		t.Fatal(err)
	}
	c.Path = "audio/2.wav"
	if _, err := s.AddCapture(ctx, c); !errors.Is(err, store.ErrExists) {
		t.Errorf("the same content twice: %v", err)
	}
	if _, err := s.Plan(ctx, "none"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("unknown plan: %v", err)
	}
}

func oneListens(t *testing.T, b Backend) {
	s := b.New(t, time.Now)
	release, err := s.Lock(context.Background(), "L1")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Lock(context.Background(), "L1"); !errors.Is(err, store.ErrBusy) {
		t.Errorf("a second lock: %v", err)
	}
	if err := release(); err != nil {
		t.Fatal(err)
	}
	if release, err = s.Lock(context.Background(), "L1"); err != nil {
		t.Errorf("after release: %v", err)
	} else if err := release(); err != nil {
		t.Error(err)
	}
}

// Rows must be equally long whatever is hidden: the same answers under many seeds leave the same bytes except for the commitment and the
// hashes.
func rowsDoNotTell(t *testing.T, b Backend) {
	ctx := context.Background()
	var want string
	for seed := range byte(8) {
		s := b.New(t, time.Now)
		var lengths strings.Builder
		at := time.Date(2030, 1, 2, 3, 4, 5, 123456789, time.UTC)
		if err := s.AddPlan(ctx, Plan(6)); err != nil {
			t.Fatal(err)
		}
		if err := s.AddListener(ctx, store.Listener{ID: "L1"}); err != nil {
			t.Fatal(err)
		}
		if err := s.AddSession(ctx, store.Session{ID: "s1", Plan: "1", Listener: "L1", Sealed: []byte{1}}); err != nil {
			t.Fatal(err)
		}
		session, err := trials.Begin("s1", trials.Seat{}, Plan(6), trials.Seed{seed}, s.Journal(ctx), func() time.Time { return at })
		if err != nil {
			t.Fatal(err)
		}
		for range 6 {
			Answer(t, session)
		}
		entries, err := s.Entries(ctx, "s1")
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries[:len(entries)-1] {
			if e.Kind == trials.EntryBegin {
				e.Note = ""
			}
			e.Hash, e.Previous = "", ""
			fmt.Fprintf(&lengths, "%+v\n", e)
		}
		if want == "" {
			want = lengths.String()
		}
		if lengths.String() != want {
			t.Fatalf("the rows depend on the seed:\n%s\n%s", want, lengths.String())
		}
	}
}

func newerRefused(t *testing.T, b Backend) {
	s := b.New(t, time.Now)
	db := b.Raw(t, s)
	if _, err := db.Exec(b.Newer); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Open(context.Background(), s.Dir()); err == nil || !strings.Contains(err.Error(), "newer heardiff") {
		t.Errorf("error %v", err)
	}
}

// Names returns the names of the entries of a folder.
func Names(t testing.TB, dir string) []string {
	t.Helper()
	all, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, e := range all {
		list = append(list, e.Name())
	}
	return list
}
