package ledger_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/ledger"
)

// FuzzLine: whatever a session's file holds, it is a line that can be compared with any journal and added to, or damaged.
func FuzzLine(f *testing.F) {
	dir := f.TempDir()
	l := ledger.Open(dir, time.Now)
	if err := l.Sit("s1", here); err != nil {
		f.Fatal(err)
	}
	names, err := filepath.Glob(filepath.Join(dir, "*.json"))
	if err != nil || len(names) != 1 {
		f.Fatal(names, err)
	}
	seed, err := os.ReadFile(names[0])
	if err != nil {
		f.Fatal(err)
	}
	f.Add(seed)
	f.Add([]byte(`{"session":"s1","sittings":[{"record":"file 1:1"}],"state":"ended","number":2,"hash":"00"}`))
	f.Add([]byte(`{"session":"s2","sittings":[]}`))
	journal := []trials.Entry{entry(1, trials.EntryBegin), entry(2, trials.EntryEnd)}
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(names[0], data, 0o600); err != nil {
			t.Fatal(err)
		}
		got, ok, err := l.Line("s1")
		if ok != (err == nil) || ok && got.Session != "s1" {
			t.Fatalf("%+v, known %v, %v", got, ok, err)
		}
		if _, errs := l.Lines(here.Record); (errs == nil) != (err == nil) {
			t.Errorf("one line %v, all lines %v", err, errs)
		}
		if !ok {
			return
		}
		for n := range len(journal) + 1 {
			got.In(journal[:n])
		}
		if last := got.Last(); !last.Is(last.Record) {
			t.Errorf("%+v is not where it is", last)
		}
	})
}
