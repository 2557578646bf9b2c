package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// A session that was answered where nothing sounds is marked in everything that speaks of it, and every device is listed.
func TestSilentSessionsAreMarkedEverywhere(t *testing.T) {
	dir := t.TempDir()
	listeningStudy(t, "abx", 6)
	command(t, 0, "listen", "--plan", "1", "--listener", "L1", "--plain", "--device", "null") // leaves at once
	answerPlan(t)
	page, tables := filepath.Join(dir, "page.html"), filepath.Join(dir, "tables")
	command(t, 0, "report", "--out", page)
	command(t, 0, "export", "--csv", tables)
	read := func(path string) string {
		return contentOf(t, path)
	}
	results, _ := command(t, 0, "results")
	asJSON, _ := command(t, 0, "results", "--json")
	linked, _ := command(t, 0, "link")
	_, pooled := command(t, 0, "pool")
	for _, c := range []struct{ name, text, want string }{
		{"results", results, "L1 (no sound)"},
		{"results", results, "was heard through: null, 48000 Hz"},
		{"results --json", asJSON, `"silent":true`},
		{"results --json", asJSON, `"devices":["null`},
		{"link", linked, "NO SOUND"},
		{"pool", pooled, "nothing here speaks of people"},
		{"report", read(page), "<strong>No sound.</strong>"},
		{"report", read(page), `<span class="sim">no sound</span>`},
		{"report", read(page), "Heard through “null, 48000 Hz"},
		{"sessions.csv", read(filepath.Join(tables, "sessions.csv")), `L1,NA,FALSE,TRUE,"null, 48000 Hz`},
	} {
		if !strings.Contains(c.text, c.want) {
			t.Errorf("%s does not say %q:\n%.2000s", c.name, c.want, c.text)
		}
	}
}
