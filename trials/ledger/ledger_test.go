package ledger_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/ledger"
)

func open(t *testing.T) (*ledger.Ledger, string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "ledger")
	return ledger.Open(dir, time.Now), dir
}

// notes is a journal that can be made to fail, and that calls seen whenever it is written to.
type notes struct {
	entries []trials.Entry
	fail    error
	seen    func()
}

func (n *notes) Append(e trials.Entry) error {
	if n.seen != nil {
		n.seen()
	}
	if n.fail == nil {
		n.entries = append(n.entries, e)
	}
	return n.fail
}

func entry(n int, kind trials.EntryKind) trials.Entry {
	e := trials.Entry{Session: "s1", Number: n, Kind: kind}
	e.Hash = e.Digest()
	return e
}

func line(t *testing.T, l *ledger.Ledger) ledger.Line {
	t.Helper()
	got, ok, err := l.Line("s1")
	if err != nil || !ok {
		t.Fatalf("known %v, %v", ok, err)
	}
	return got
}

var here, there = ledger.Place{Study: "x", Record: "file 1:1", Folder: "/a"}, ledger.Place{Study: "x", Record: "file 1:2", Folder: "/b"}

// sitting begins the session s1 here: the journal writes to inner.
func sitting(t *testing.T, l *ledger.Ledger) (inner *notes, j trials.Journal) {
	t.Helper()
	if err := l.Sit("s1", here); err != nil {
		t.Fatal(err)
	}
	inner = &notes{}
	return inner, l.Journal(inner)
}

// The end of a session is in the ledger before its seed is in the journal: whatever happens in between, no order is revealed
// without a trace.
func TestAnEndIsNotedBeforeTheSeedIsWritten(t *testing.T) {
	l, _ := open(t)
	inner, j := sitting(t, l)
	if err := j.Append(entry(1, trials.EntryBegin)); err != nil {
		t.Fatal(err)
	}
	if got := line(t, l); got.State != ledger.Running || got.Number != 1 || !got.In(inner.entries) {
		t.Errorf("after the first entry: %+v", got)
	}
	inner.seen = func() {
		if got := line(t, l); got.State != ledger.Ending || !got.In(inner.entries) {
			t.Errorf("when the seed is written the ledger says %+v", got)
		}
	}
	inner.fail = errors.New("disk full")
	if err := j.Append(entry(2, trials.EntryEnd)); !errors.Is(err, inner.fail) {
		t.Errorf("a journal that fails: %v", err)
	}
	if got := line(t, l); got.State != ledger.Ending || got.Number != 1 {
		t.Errorf("after an end that failed: %+v", got)
	}
	inner.fail = nil
	if err := j.Append(entry(2, trials.EntryEnd)); err != nil {
		t.Fatal(err)
	}
	if got := line(t, l); got.State != ledger.Ended || !got.In(inner.entries) || got.In(inner.entries[:1]) {
		t.Errorf("after the end: %+v", got)
	}
}

// If the ledger cannot be written no seed is revealed, but an answer is still stored.
func TestNoSeedIsRevealedWithoutALedger(t *testing.T) {
	l, dir := open(t)
	inner, j := sitting(t, l)
	if err := errors.Join(os.RemoveAll(dir), os.WriteFile(dir, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	if err := j.Append(entry(1, trials.EntryAnswer)); err != nil || len(inner.entries) != 1 {
		t.Errorf("an answer: %v, %d kept", err, len(inner.entries))
	}
	if err := j.Append(entry(2, trials.EntryEnd)); err == nil || len(inner.entries) != 1 {
		t.Errorf("the end: %v, %d kept", err, len(inner.entries))
	}
}

func TestEveryChangeOfPlaceIsKept(t *testing.T) {
	l, _ := open(t)
	for _, p := range []ledger.Place{here, here, there, there, here} {
		if err := l.Sit("s1", p); err != nil {
			t.Fatal(err)
		}
	}
	if got := line(t, l); len(got.Sittings) != 3 || got.Last().Place != here || got.Sittings[1].Place != there {
		t.Errorf("%+v", got.Sittings)
	}
	for record, want := range map[string]int{here.Record: 1, there.Record: 1, "file 9:9": 0} {
		if all, err := l.Lines(record); err != nil || len(all) != want {
			t.Errorf("%s: %d lines, %v", record, len(all), err)
		}
	}
}

// A damaged line is an error, never an unknown session; the half-written file of a killed process is ignored, and removed when
// the next session is begun.
func TestDamageIsNotIgnorance(t *testing.T) {
	l, dir := open(t)
	if _, ok, err := l.Line("s1"); ok || err != nil {
		t.Errorf("before there is a ledger: %v, %v", ok, err)
	}
	if err := l.Sit("s1", here); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, ".line-123"), []byte(`{"sess`), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := line(t, l); got.Session != "s1" {
		t.Errorf("%+v", got)
	}
	if err := l.Sit("s1", here); err != nil {
		t.Fatal(err)
	}
	if left, err := filepath.Glob(filepath.Join(dir, ".line-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind by a killed process: %v, %v", left, err)
	}
	names, err := filepath.Glob(filepath.Join(dir, "*.json"))
	if err != nil || len(names) != 1 {
		t.Fatalf("%v, %v", names, err)
	}
	for _, damage := range []string{"", "{", `{"session":"s2","sittings":[{}]}`, `{"session":"s1"}`, `{"session":"s1","sittings":[{}],"number":-1}`} {
		if err := os.WriteFile(names[0], []byte(damage), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, ok, err := l.Line("s1"); ok || err == nil {
			t.Errorf("%q: known %v, %v", damage, ok, err)
		}
		if err := l.Sit("s1", there); err == nil {
			t.Errorf("%q: a session sits down", damage)
		}
	}
}

// Many processes write at once, each with its own Ledger, and nothing is lost; the files are accessible to this user only.
func TestManyWriteAtOnce(t *testing.T) {
	_, dir := open(t)
	var all sync.WaitGroup
	const n = 8
	for i := range n {
		all.Go(func() {
			l := ledger.Open(dir, time.Now)
			if err := l.Sit("s1", ledger.Place{Record: fmt.Sprint(i)}); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if got := line(t, ledger.Open(dir, time.Now)); len(got.Sittings) != n {
		t.Errorf("%d sittings of %d", len(got.Sittings), n)
	}
	err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s is open to others: %v", path, info.Mode())
		}
		if strings.HasPrefix(e.Name(), ".heardiff-") {
			t.Errorf("%s is left over", path)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// A place recorded before identities included a file's creation time is still recognised, and no other place is taken for it.
func TestAPlaceIsKnownByAnOlderIdentity(t *testing.T) {
	for _, c := range []struct {
		noted, record string
		want          bool
	}{
		{"file 1:2:3.4", "file 1:2:3.4", true},
		{"file 1:2", "file 1:2:3.4", true},
		{"file 1:2", "file 1:20:3.4", false},
		{"file 1:2:3.4", "file 1:2:3.5", false},
		{"", "file 1:2:3.4", false},
	} {
		if got := (ledger.Place{Record: c.noted}).Is(c.record); got != c.want {
			t.Errorf("%q is %q: %v, want %v", c.noted, c.record, got, c.want)
		}
	}
}
