package sqlite_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/sqlite"
)

func newStudy(t testing.TB) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Create(context.Background(), filepath.Join(t.TempDir(), "study"), "a title", time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func plan(n int) trials.Plan {
	return trials.Plan{
		ID: "1", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.3,
		Comparisons: []trials.Comparison{{Name: "one", A: "left", B: "right", AudioA: "aa", AudioB: "bb", Trials: n}},
	}
}

// withSession adds all that a session hangs on and begins it.
func withSession(t testing.TB, s *sqlite.Store, n int) *trials.Session {
	t.Helper()
	ctx := context.Background()
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	check(s.AddPlan(ctx, plan(n)))
	check(s.AddListener(ctx, sqlite.Listener{ID: "L1", Group: "trained"}))
	check(s.AddSession(ctx, sqlite.Session{ID: "s1", Plan: "1", Listener: "L1", Sealed: []byte{1}}))
	session, err := trials.Begin("s1", plan(n), trials.Seed{1}, s.Journal(ctx), time.Now)
	check(err)
	check(session.Open(""))
	return session
}

func answer(t testing.TB, s *trials.Session) {
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

func TestStudyCanBeMoved(t *testing.T) {
	s := newStudy(t)
	ctx := context.Background()
	if err := s.AddChain(ctx, sqlite.Chain{Name: "direct", Role: "source"}); err != nil {
		t.Fatal(err)
	}
	withSession(t, s, 3)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	moved := filepath.Join(t.TempDir(), "else where?#%41") // characters a file: address would read as its own
	if err := os.Rename(s.Dir(), moved); err != nil {
		t.Fatal(err)
	}
	again, err := sqlite.Open(ctx, moved, time.Now)
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

func TestWhatIsNoStudyIsRefused(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	if _, err := sqlite.Open(ctx, dir, time.Now); !errors.Is(err, sqlite.ErrNotStudy) {
		t.Errorf("an empty folder: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, sqlite.FileName), []byte("this is no database, only a text"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := sqlite.Open(ctx, dir, time.Now); err == nil {
		t.Error("a text file was opened as a study")
	}
	s := newStudy(t)
	if _, err := sqlite.Create(ctx, s.Dir(), "again", time.Now); !errors.Is(err, sqlite.ErrExists) {
		t.Errorf("a study over a study: %v", err)
	}
}

func TestNamesAndFilesAreUnique(t *testing.T) {
	s, ctx := newStudy(t), context.Background()
	c := sqlite.Capture{Chain: "direct", Kind: "jitter", Path: "audio/1.wav", SHA256: "11", RateHz: 48000}
	if _, err := s.AddCapture(ctx, c); !errors.Is(err, sqlite.ErrNotFound) {
		t.Errorf("capture of an unknown chain: %v", err)
	}
	for i, want := range []error{nil, sqlite.ErrExists} {
		if err := s.AddChain(ctx, sqlite.Chain{Name: "direct", Role: "source"}); !errors.Is(err, want) {
			t.Errorf("chain added %d times: %v", i+1, err)
		}
	}
	if _, err := s.AddCapture(ctx, c); err != nil {
		t.Fatal(err)
	}
	c.Path = "audio/2.wav"
	if _, err := s.AddCapture(ctx, c); !errors.Is(err, sqlite.ErrExists) {
		t.Errorf("the same content twice: %v", err)
	}
	if _, err := s.Plan(ctx, "none"); !errors.Is(err, sqlite.ErrNotFound) {
		t.Errorf("unknown plan: %v", err)
	}
}

func TestOnlyOneListensAtATime(t *testing.T) {
	s := newStudy(t)
	release, err := s.Lock(context.Background(), "L1")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Lock(context.Background(), "L1"); !errors.Is(err, sqlite.ErrBusy) {
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

// Rows must be equally long whatever is hidden: the same answers under many seeds leave the same bytes but for the
// commitment and the hashes.
func TestStoredRowsDoNotTellTheAssignment(t *testing.T) {
	ctx := context.Background()
	var want string
	for seed := range byte(8) {
		s := newStudy(t)
		var lengths strings.Builder
		at := time.Date(2030, 1, 2, 3, 4, 5, 123456789, time.UTC)
		if err := s.AddPlan(ctx, plan(6)); err != nil {
			t.Fatal(err)
		}
		if err := s.AddListener(ctx, sqlite.Listener{ID: "L1"}); err != nil {
			t.Fatal(err)
		}
		if err := s.AddSession(ctx, sqlite.Session{ID: "s1", Plan: "1", Listener: "L1", Sealed: []byte{1}}); err != nil {
			t.Fatal(err)
		}
		session, err := trials.Begin("s1", plan(6), trials.Seed{seed}, s.Journal(ctx), func() time.Time { return at })
		if err != nil {
			t.Fatal(err)
		}
		for range 6 {
			answer(t, session)
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

func BenchmarkCommitOfAnAnswer(b *testing.B) {
	s := newStudy(b)
	session := withSession(b, s, trials.MaxTrials)
	b.ResetTimer()
	times := make([]time.Duration, 0, b.N)
	for range b.N {
		if session.View().Phase == trials.Done {
			b.StopTimer()
			s = newStudy(b)
			session = withSession(b, s, trials.MaxTrials)
			b.StartTimer()
		}
		start := time.Now()
		answer(b, session)
		times = append(times, time.Since(start))
	}
	b.ReportMetric(percentile(times, 0.5), "p50-ms")
	b.ReportMetric(percentile(times, 0.99), "p99-ms")
}

// percentile returns the p-quantile in milliseconds.
func percentile(times []time.Duration, p float64) float64 {
	slices.Sort(times)
	return float64(times[int(p*float64(len(times)-1))]) / float64(time.Millisecond)
}
