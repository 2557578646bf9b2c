package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Which chain feeds which is declared once, kept, and goes along in a kit; a chain that does not exist feeds none.
func TestAChainThatFeedsAnotherIsKept(t *testing.T) {
	listeningStudy(t, "abx", 5)
	command(t, 3, "chain", "add", "third", "--after", "nowhere")
	command(t, 0, "chain", "add", "third", "--after", "left")
	dir := t.TempDir()
	kit := filepath.Join(dir, "kit")
	command(t, 0, "export", "--kit", kit, "--plan", "1")
	home := os.Getenv("HEARDIFF_STUDY")
	visit(t, dir, "north", "north", kit)
	for _, study := range []string{home, os.Getenv("HEARDIFF_STUDY")} {
		out, _ := command(t, 0, "study", "show", "--json", "--study", study)
		if !strings.Contains(out, `"name":"third","about":"","cost":null,"role":"source","after":"left"`) || strings.Count(out, `"after"`) != 1 {
			t.Errorf("%s: %s", study, out)
		}
	}
}
