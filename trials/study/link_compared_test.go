package study

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"heardiff/measure/match"
	"heardiff/stats/wire"
)

// The result of a comparison is reused by the version that made it, and by no other.
func TestAComparisonIsRememberedByItsOwnVersion(t *testing.T) {
	ctx := context.Background()
	s := preparedStudy(t)
	defer s.Close()
	excerpts, err := s.Excerpts(ctx)
	must(t, err)
	first, second := excerpts[0].Presentations[0], excerpts[0].Presentations[2]
	compared := s.comparer()
	name := first.SHA256 + "-" + second.SHA256 + ".json"
	claims := func(dir string) { // a result that cannot be true
		t.Helper()
		data, err := wire.Marshal(match.Result{Schema: match.Schema, NullDB: 77})
		must(t, err)
		must(t, os.MkdirAll(dir, 0o755))
		must(t, os.WriteFile(filepath.Join(dir, name), data, 0o644))
	}
	nullDB := func(by comparer, first, second Presentation) float64 {
		t.Helper()
		r, err := by.compare(ctx, first, second)
		must(t, err)
		return r.NullDB
	}
	older := filepath.Join(filepath.Dir(compared.dir), "compared-2")
	claims(older)
	fresh := nullDB(compared, first, second)
	if fresh > 0 {
		t.Errorf("what another version remembers was taken: null %v dB", fresh)
	}
	if _, err := os.Stat(older); err == nil {
		t.Error("what another version remembers is still there")
	}
	if again := nullDB(compared, first, second); again != fresh {
		t.Errorf("remembered: null %v dB, it was %v", again, fresh)
	}
	claims(compared.dir)
	if got := nullDB(s.comparer(), first, second); got != 77 {
		t.Errorf("what this version remembers was not taken: null %v dB", got)
	}
	s.Getenv = func(string) string { return "" }
	if got := nullDB(s.comparer(), first, second); got != fresh {
		t.Errorf("without a cache: null %v dB, want %v", got, fresh)
	}
}
