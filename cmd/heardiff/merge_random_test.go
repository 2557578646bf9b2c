package main

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"testing"
)

// sent is what one site sends: its first session, then both, each whole or with parts withheld.
type sent struct{ first, both, anonymous string }

// twoSites makes a study, sends its kit to two sites and has two listeners at each. It returns the study's folder and what
// came back.
func twoSites(t *testing.T) (home string, came []sent) {
	t.Helper()
	home = listeningStudy(t, "abx", 4)
	keys := os.Getenv("HEARDIFF_KEYS")
	dir := t.TempDir()
	kit := filepath.Join(dir, "kit.bundle")
	command(t, 0, "export", "--kit", kit, "--plan", "1")
	for _, site := range []string{"north", "south"} {
		at(t, dir, site)
		command(t, 0, "import", kit)
		command(t, 0, "listener", "add", "L1", "--group", "untrained", "--hearing", "a whistle at four")
		command(t, 0, "listener", "add", "L2", "--group", "trained")
		out := func(name string, flags ...string) string {
			file := filepath.Join(dir, site+name+".bundle")
			command(t, 0, append([]string{"export", "--out", file}, flags...)...)
			return file
		}
		answerPlan(t)
		s := sent{first: out("-first")}
		answerAs(t, "L2")
		s.both, s.anonymous = out("-both"), out("-anonymous", "--anonymous")
		came = append(came, s)
	}
	t.Setenv("HEARDIFF_KEYS", keys)
	return home, came
}

// answersOf returns, by session, what merging must not change: everything but the device, the times and the hash over them, which a
// withheld record lacks.
func answersOf(t *testing.T) map[string]any {
	t.Helper()
	text, _ := command(t, 0, "results", "--json")
	all := sessionsOf(t, text)
	for _, s := range all {
		session := s.(map[string]any)
		delete(session, "head")
		delete(session, "devices")
		for _, one := range session["trials"].([]any) {
			trial := one.(map[string]any)
			delete(trial, "at")
			delete(trial, "seconds")
		}
	}
	return all
}

func TestBundlesOfOtherSites(t *testing.T) {
	home, came := twoSites(t)
	t.Run("in any order, any number of times, give the same study", func(t *testing.T) { inAnyOrder(t, home, came) })
	t.Run("in conflict change nothing", func(t *testing.T) { inConflict(t, home, came) })
	t.Run("anonymous hold no time of day and no words", func(t *testing.T) { withoutTimeOrWords(t, came[0]) })
}

// Bundles in any order, again and again, whole or with parts withheld, one holding more than another: the study is the
// same once each site's last word is in; and of any subset it holds just that subset's sessions.
func inAnyOrder(t *testing.T, home string, came []sent) {
	t.Helper()
	random := rand.New(rand.NewPCG(11, 12))
	var want map[string]any
	for round := range 4 {
		study := filepath.Join(t.TempDir(), "study")
		must(t, os.CopyFS(study, os.DirFS(home)))
		t.Setenv("HEARDIFF_STUDY", study)
		var order []string
		for i, s := range came {
			last := []string{s.both, s.anonymous}[(round+i)%2]
			order = append(order, last)
			for range random.IntN(3) {
				order = append(order, []string{s.first, s.both, s.anonymous}[random.IntN(3)])
			}
		}
		random.Shuffle(len(order), func(i, k int) { order[i], order[k] = order[k], order[i] })
		for _, file := range order {
			command(t, 0, "import", file)
		}
		command(t, 0, "verify")
		got := answersOf(t)
		if want == nil {
			want = got
		}
		if len(got) != 4 || !reflect.DeepEqual(got, want) {
			t.Fatalf("round %d, %d bundles: the order made a difference: %d sessions, want %d", round, len(order), len(got), len(want))
		}
	}
	study := filepath.Join(t.TempDir(), "part")
	must(t, os.CopyFS(study, os.DirFS(home)))
	t.Setenv("HEARDIFF_STUDY", study)
	command(t, 0, "import", came[0].anonymous)
	command(t, 0, "import", came[1].first)
	part := answersOf(t)
	if len(part) != 3 {
		t.Errorf("a subset gives %d sessions, want 3", len(part))
	}
	for id, s := range part {
		if !reflect.DeepEqual(s, want[id]) {
			t.Errorf("session %s of a subset differs from that of all", id)
		}
	}
}

// An edited bundle is refused, one that says less than what is here brings nothing, and the study is as it was.
func inConflict(t *testing.T, home string, came []sent) {
	t.Helper()
	t.Setenv("HEARDIFF_STUDY", home)
	command(t, 0, "import", came[0].both)
	before := answersOf(t)
	edited := editedBundle(t, came[1].both, `"confidence":0`, `"confidence":4`)
	for range 2 {
		command(t, exitRejected, "import", edited)
		command(t, 0, "import", came[0].first)
		if !reflect.DeepEqual(answersOf(t), before) {
			t.Fatal("a refused bundle, or one that says less, changed the study")
		}
	}
}

// Nothing in an anonymous bundle reveals when, or in whose words: the only times are days.
func withoutTimeOrWords(t *testing.T, came sent) {
	t.Helper()
	times := regexp.MustCompile(`\d{4}-\d{2}-\d{2}T[^"]*`)
	for name, c := range map[string]struct {
		file  string
		whole bool
	}{"whole": {came.both, true}, "anonymous": {came.anonymous, false}} {
		data, err := os.ReadFile(c.file)
		must(t, err)
		exact := 0
		for _, found := range times.FindAllString(string(data), -1) {
			if found[10:] != "T00:00:00Z" {
				exact++
			}
		}
		if (exact > 0) != c.whole || bytes.Contains(data, []byte("whistle")) != c.whole {
			t.Errorf("%s: %d times of day, the listener's words in it: %v", name, exact, bytes.Contains(data, []byte("whistle")))
		}
	}
}
