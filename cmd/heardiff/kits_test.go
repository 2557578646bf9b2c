package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// visit runs what follows as another site, with a kit taken into a folder of its own.
func visit(t *testing.T, dir, site, folder, kit string) string {
	t.Helper()
	t.Setenv("HEARDIFF_KEYS", filepath.Join(dir, site+"-keys"))
	t.Setenv("HEARDIFF_STUDY", filepath.Join(dir, folder))
	_, said := command(t, 0, "import", kit)
	command(t, 0, "listener", "add", "L1")
	return said
}

// The home site knows number and seal of every session that was begun from a kit: one that is kept back is named in everything
// that speaks of results, until it comes.
func TestASessionOfAKitThatIsKeptBackIsNamed(t *testing.T) {
	home := listeningStudy(t, "abx", 5)
	keys, dir := os.Getenv("HEARDIFF_KEYS"), t.TempDir()
	kit, first, second := filepath.Join(dir, "kit"), filepath.Join(dir, "first"), filepath.Join(dir, "second")
	command(t, 0, "export", "--kit", kit, "--plan", "1")
	visit(t, dir, "north", "north", kit)
	sitFor(t, "1", "L1", 2, alwaysFirst) // begun, and left
	command(t, 0, "listener", "add", "L2")
	answerAs(t, "L2")
	command(t, 0, "export", "--out", first)
	answerPlan(t)
	command(t, 0, "export", "--out", second)

	t.Setenv("HEARDIFF_KEYS", keys)
	const why = "was begun and has not come back"
	said := saysOf(t, home, 0, "import", first)
	if strings.Count(said, why) != 1 || !strings.Contains(said, "number 1 of site") || !strings.Contains(said, "sealed ") {
		t.Errorf("import: %s", said)
	}
	for _, name := range []string{"results", "verify", "link"} {
		if said := saysOf(t, home, 0, name); !strings.Contains(said, why) {
			t.Errorf("%s: %.1500s", name, said)
		}
		if said := saysOf(t, home, 0, name, "--json"); !strings.Contains(said, `"code":"not-come-back","channel":null,"from_s":null,"to_s":null,"value":1,`) {
			t.Errorf("%s: %.1500s", name, said)
		}
	}
	if said := saysOf(t, home, 0, "import", second); strings.Contains(said, why) {
		t.Errorf("after it came: %s", said)
	}
	if said := saysOf(t, home, 0, "import", first); strings.Contains(said, why) { // the order makes no difference
		t.Errorf("the older list once more: %s", said)
	}
}

// A kit that is taken twice on one machine is named there, and where the results of both go.
func TestAKitTakenTwiceIsNamed(t *testing.T) {
	home := listeningStudy(t, "abx", 5)
	keys, dir := os.Getenv("HEARDIFF_KEYS"), t.TempDir()
	kit := filepath.Join(dir, "kit")
	command(t, 0, "export", "--kit", kit, "--plan", "1")
	var sent []string
	for i, folder := range []string{"one", "two"} {
		said := visit(t, dir, "north", folder, kit)
		if warned := strings.Contains(said, "was taken here before") && strings.Contains(said, filepath.Join(dir, "one")); warned != (i == 1) {
			t.Errorf("%s: %s", folder, said)
		}
		answerPlan(t)
		sent = append(sent, filepath.Join(dir, folder+".bundle"))
		command(t, 0, "export", "--out", sent[i])
	}
	t.Setenv("HEARDIFF_KEYS", keys)
	for i, b := range sent {
		if said := saysOf(t, home, 0, "import", b); strings.Contains(said, "took the kit 2 times") != (i == 1) {
			t.Errorf("bundle %d: %s", i+1, said)
		}
	}
	if said := saysOf(t, home, 0, "results", "--json"); !strings.Contains(said, `"code":"kit-taken-often"`) {
		t.Errorf("results: %s", said)
	}
}
