package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"heardiff/measure/match"
	"heardiff/stats/wire"
	"heardiff/trials/study"
)

// TestMain gives the tests a cache of their own: what the user's remembers is neither read nor changed. The compiler,
// which some tests call, keeps its own.
func TestMain(m *testing.M) {
	if os.Getenv(processEnv) != "" {
		main() // which exits
	}
	if dir, err := os.UserCacheDir(); err == nil && os.Getenv("GOCACHE") == "" {
		os.Setenv("GOCACHE", filepath.Join(dir, "go-build"))
	}
	dir, err := os.MkdirTemp("", "heardiff-cache-*")
	if err != nil {
		panic(err)
	}
	os.Setenv("XDG_CACHE_HOME", dir)
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// The result of a comparison is remembered by the version that made it, and by no other.
func TestAComparisonIsRememberedByItsOwnVersion(t *testing.T) {
	listeningStudy(t, "abx", 3)
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	ctx := context.Background()
	a := &app{stdout: io.Discard, stderr: io.Discard, now: time.Now, getenv: os.Getenv}
	s, err := a.openStudy(ctx)
	must(t, err)
	defer s.Close()
	excerpts, err := s.Excerpts(ctx)
	must(t, err)
	first, second := excerpts[0].Presentations[0], excerpts[0].Presentations[2]
	compared := s.Comparer()
	name := first.SHA256 + "-" + second.SHA256 + ".json"
	claims := func(dir string) { // a result that cannot be true
		t.Helper()
		data, err := wire.Marshal(match.Result{Schema: match.Schema, NullDB: 77})
		must(t, err)
		must(t, os.MkdirAll(dir, 0o755))
		must(t, os.WriteFile(filepath.Join(dir, name), data, 0o644))
	}
	nullDB := func(by study.Comparer, first, second study.Presentation) float64 {
		t.Helper()
		r, err := by.Compare(ctx, first, second)
		must(t, err)
		return r.NullDB
	}
	older := filepath.Join(filepath.Dir(compared.Dir), "compared-2")
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
	claims(compared.Dir)
	if got := nullDB(s.Comparer(), first, second); got != 77 {
		t.Errorf("what this version remembers was not taken: null %v dB", got)
	}
	s.Getenv = func(string) string { return "" }
	if got := nullDB(s.Comparer(), first, second); got != fresh {
		t.Errorf("without a cache: null %v dB, want %v", got, fresh)
	}
}
