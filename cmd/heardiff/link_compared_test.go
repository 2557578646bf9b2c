package main

import (
	"os"
	"path/filepath"
	"testing"
)

// TestMain gives the tests a cache of their own: the user's is neither read nor changed. The compiler, which some
// tests call, keeps its own.
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
