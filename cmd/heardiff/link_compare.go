package main

import (
	"context"
	"os"
	"path/filepath"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/match"
	"heardiff/trials/store"
)

// comparePresentations compares two prepared files. That takes seconds and depends on their samples alone, so the result
// is kept in the user's cache under the hashes of both; the study's folder is left as it is.
func (a *app) comparePresentations(ctx context.Context, s *store.Store, first, second store.Presentation) (match.Result, error) {
	kept := a.cachedComparison(first.SHA256, second.SHA256)
	var r match.Result
	if data, err := os.ReadFile(kept); err == nil && wire.Unmarshal(data, &r) == nil && r.Schema == match.Schema {
		return r, nil
	}
	fa, err := a.open(s.Path(first.Path))
	if err != nil {
		return r, err
	}
	defer fa.Close()
	fb, err := a.open(s.Path(second.Path))
	if err != nil {
		return r, err
	}
	defer fb.Close()
	r, err = match.Compare(interruptible(ctx, fa), fb, match.Config{})
	if err != nil {
		return r, err
	}
	keepComparison(kept, r)
	return r, nil
}

// cachedComparison returns the place of a comparison in the user's cache, "" where there is no cache. The number in the
// folder's name changes with the way of comparing.
func (a *app) cachedComparison(first, second string) string {
	base := a.getenv("XDG_CACHE_HOME")
	if base == "" && a.getenv("HOME") != "" {
		base = filepath.Join(a.getenv("HOME"), ".cache")
	}
	if base == "" {
		return ""
	}
	return filepath.Join(base, "heardiff", "compared-2", first+"-"+second+".json")
}

// keepComparison writes to the cache; a cache that cannot be written costs time and nothing else.
func keepComparison(path string, r match.Result) {
	data, err := wire.Marshal(r)
	if path == "" || err != nil || os.MkdirAll(filepath.Dir(path), 0o755) != nil {
		return
	}
	_ = writeLine(path, data)
}
