package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What the ledger of a site knows against a session comes home with its results: the session counts there no more than at its own site,
// and everything that speaks of it says why. Folders and dates of that site do not come along.
func TestMarksComeHomeWithTheResults(t *testing.T) {
	home := listeningStudy(t, "abx", 16)
	homeKeys, dir := os.Getenv("HEARDIFF_KEYS"), t.TempDir()
	kit, back, page := filepath.Join(dir, "kit"), filepath.Join(dir, "back"), filepath.Join(dir, "page.html")
	command(t, 0, "export", "--kit", kit, "--plan", "1")
	at(t, dir, "north")
	north := os.Getenv("HEARDIFF_STUDY")
	command(t, 0, "import", kit)
	command(t, 0, "listener", "add", "L1")
	beginSession(t, north, 2)
	endedTwice(t, north, dir)
	command(t, 0, "export", "--out", back, "--anonymous")
	if data, err := os.ReadFile(back); err != nil || strings.Contains(string(data), dir) {
		t.Errorf("the bundle names a folder of its site: %v", err)
	}

	t.Setenv("HEARDIFF_KEYS", homeKeys)
	const why = "its order was opened in a copy of the study"
	if said := saysOf(t, home, 0, "verify", back); !strings.Contains(said, why) {
		t.Errorf("verify, of the bundle: %s", said)
	}
	if said := saysOf(t, home, 0, "import", back); !strings.Contains(said, why) {
		t.Errorf("import: %s", said)
	}
	t.Setenv("HEARDIFF_STUDY", home)
	command(t, 0, "import", back) // again
	command(t, 0, "report", "--out", page)
	text := contentOf(t, page)
	for name, said := range map[string]string{"link": saysOf(t, home, 0, "link"), "link --json": saysOf(t, home, 0, "link", "--json"),
		"pool": saysOf(t, home, exitRejected, "pool"), "results": saysOf(t, home, 0, "results"), "report": text,
		"verify": saysOf(t, home, 0, "verify"), "verify --json": saysOf(t, home, 0, "verify", "--json")} {
		if !strings.Contains(said, why) {
			t.Errorf("%s: %.3000s", name, said)
		}
		if strings.HasPrefix(name, "link") && !strings.Contains(said, "void") {
			t.Errorf("%s counts it: %.3000s", name, said)
		}
	}
}
