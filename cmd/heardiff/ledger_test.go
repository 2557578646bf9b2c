package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/trials"
)

// beginSession begins the only session of a study and leaves it after n answers, all "X is A".
func beginSession(t *testing.T, study string, n int) {
	t.Helper()
	t.Setenv("HEARDIFF_STUDY", study)
	command(t, 0, "listen", "--plan", "1", "--listener", "L1", "--plain", "--device", "null")
	sitFor(t, "1", "L1", n, alwaysFirst)
}

// oracleAnswer knows what X is.
func oracleAnswer(session *trials.Session, _ trials.Plan) trials.Answer {
	cue, err := session.Route(trials.LabelX)
	if err != nil || cue.Source() == trials.SourceA {
		return trials.AnswerA
	}
	return trials.AnswerB
}

// copyFolder copies a study as "cp -r" does.
func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	must(t, os.CopyFS(to, os.DirFS(from)))
}

// saysOf returns what a command says on both streams, whatever its exit code.
func saysOf(t *testing.T, study string, want int, args ...string) string {
	t.Helper()
	out, errs := command(t, want, append(args, "--study", study)...)
	return strings.Join(strings.Fields(out+" "+errs), " ")
}

var listenArgs = []string{"listen", "--plan", "1", "--listener", "L1", "--plain", "--device", "null"}

// A copy of a study whose session runs cannot be used to learn the session's order: it is not resumed there.
func TestACopyIsNotResumedWhileItsOriginalIsThere(t *testing.T) {
	study := listeningStudy(t, "abx", 6)
	beginSession(t, study, 2)
	copied := filepath.Join(t.TempDir(), "copy")
	copyFolder(t, study, copied)
	if said := saysOf(t, copied, exitRejected, listenArgs...); !strings.Contains(said, "of which this study is a copy") {
		t.Errorf("the copy: %s", said)
	}
	if said := saysOf(t, copied, 0, "results"); !strings.Contains(said, "of which this study is a copy") {
		t.Errorf("results in the copy: %s", said)
	}
	if said := saysOf(t, study, 0, listenArgs...); !strings.Contains(said, "ready 3 of 6") {
		t.Errorf("the original: %s", said)
	}
	saysOf(t, study, 0, "verify")
}

// Whoever puts the original aside, finishes the session in the copy, reads the answers there and brings the original back finds
// it closed, and every command that speaks of it says why.
func TestASessionFinishedInACopyIsRefusedAndNamed(t *testing.T) {
	study := listeningStudy(t, "abx", 6)
	beginSession(t, study, 2)
	copied, aside := filepath.Join(t.TempDir(), "copy"), study+" aside"
	copyFolder(t, study, copied)
	must(t, os.Rename(study, aside))
	t.Setenv("HEARDIFF_STUDY", copied)
	answerPlan(t)
	if said := saysOf(t, copied, 0, "results", "--json"); !strings.Contains(said, "was moved, restored or copied") || !strings.Contains(said, `"flags":1`) {
		t.Errorf("results in the copy: %s", said)
	}
	must(t, os.Rename(aside, study))
	t.Setenv("HEARDIFF_STUDY", study)
	const why = "its order was opened as far as entry"
	for _, c := range []struct {
		exit int
		args []string
	}{{exitRejected, listenArgs}, {0, []string{"results"}}, {0, []string{"results", "--json"}}, {exitRejected, []string{"verify"}}, {exitRejected, []string{"verify", "--json"}}} {
		if said := saysOf(t, study, c.exit, c.args...); !strings.Contains(said, why) || !strings.Contains(said, copied) {
			t.Errorf("%v: %s", c.args, said)
		}
	}
	if said := saysOf(t, study, 0, append(listenArgs[:len(listenArgs):len(listenArgs)], "--again")...); !strings.Contains(said, "ready 1 of 6") {
		t.Errorf("another session: %s", said)
	}
}

// A journal that is cut short is not gone through a second time, whether its session had ended or not, and the gap is named.
func TestAJournalCutShortIsRefusedAndNamed(t *testing.T) {
	for _, c := range []struct {
		name    string
		answers int
		why     string
	}{
		{"a session that runs", 4, "it went on here as far as entry"},
		{"a session that has ended", 6, "its order was opened here as far as entry"},
	} {
		study := listeningStudy(t, "abx", 6)
		beginSession(t, study, c.answers)
		sqlTamper(`DELETE FROM entries WHERE number > 4`)(t, study)
		if said := saysOf(t, study, exitRejected, listenArgs...); !strings.Contains(said, c.why) {
			t.Errorf("%s: listen: %s", c.name, said)
		}
		for _, args := range [][]string{{"results"}, {"results", "--json"}} {
			if said := saysOf(t, study, 0, args...); !strings.Contains(said, c.why) {
				t.Errorf("%s: %v: %s", c.name, args, said)
			}
		}
		if said := saysOf(t, study, exitRejected, "verify"); !strings.Contains(said, c.why) {
			t.Errorf("%s: verify: %s", c.name, said)
		}
	}
}

// endedTwice ends the session of a study in a copy of it in dir, and then in the study itself, where the ledger is kept from knowing of the
// copy: whoever answers there knows the order.
func endedTwice(t *testing.T, study, dir string) {
	t.Helper()
	copied, aside, other := filepath.Join(dir, "copied"), study+" aside", filepath.Join(dir, "other-keys")
	copyFolder(t, study, copied)
	must(t, os.Rename(study, aside))
	t.Setenv("HEARDIFF_STUDY", copied)
	answerPlan(t)
	must(t, os.Rename(aside, study))
	keys := os.Getenv("HEARDIFF_KEYS")
	copyFolder(t, keys, other)
	must(t, os.RemoveAll(filepath.Join(other, "ledger")))
	t.Setenv("HEARDIFF_KEYS", other)
	t.Setenv("HEARDIFF_STUDY", study)
	sitThrough(t, "1", "L1", oracleAnswer)
	t.Setenv("HEARDIFF_KEYS", keys)
}

// An ended session that is exchanged for one that went otherwise in a copy is void wherever it is counted.
func TestASessionThatEndedOtherwiseElsewhereIsVoid(t *testing.T) {
	study := listeningStudy(t, "abx", 16)
	beginSession(t, study, 2)
	page := filepath.Join(t.TempDir(), "page.html")
	endedTwice(t, study, t.TempDir())
	command(t, 0, "report", "--out", page)
	text := contentOf(t, page)
	for name, said := range map[string]string{"link": saysOf(t, study, 0, "link"), "link --json": saysOf(t, study, 0, "link", "--json"),
		"pool": saysOf(t, study, exitRejected, "pool"), "results": saysOf(t, study, 0, "results"), "report": text} {
		if !strings.Contains(said, "its order was opened as far as entry") {
			t.Errorf("%s: %.3000s", name, said)
		}
		if strings.HasPrefix(name, "link") && !strings.Contains(said, "void") {
			t.Errorf("%s counts it: %.3000s", name, said)
		}
	}
}

// A study that is moved is the same study, and a ledger that was removed, or lacks a line, leaves a trace.
func TestMovingIsFreeAndAMissingLedgerIsReported(t *testing.T) {
	study := listeningStudy(t, "abx", 6)
	beginSession(t, study, 2)
	moved := study + " moved"
	must(t, os.Rename(study, moved))
	if said := saysOf(t, moved, 0, listenArgs...); !strings.Contains(said, "ready 3 of 6") {
		t.Errorf("moved: %s", said)
	}
	if said := saysOf(t, moved, 0, "verify"); strings.Contains(said, "copied") {
		t.Errorf("a study that was moved: %s", said)
	}
	lines, err := filepath.Glob(filepath.Join(os.Getenv("HEARDIFF_KEYS"), "ledger", "*.json"))
	if err != nil || len(lines) != 1 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	must(t, os.Remove(lines[0]))
	const why = "the ledger of this account does not know it"
	if said := saysOf(t, moved, exitRejected, "verify"); !strings.Contains(said, why) {
		t.Errorf("a line was removed: %s", said)
	}
	t.Setenv("HEARDIFF_STUDY", moved)
	answerPlan(t)
	wantOneFlag(t, moved)
}

// wantOneFlag demands that the journal of the study's only session holds the trace of one event.
func wantOneFlag(t *testing.T, study string) {
	t.Helper()
	var r struct{ Sessions []struct{ Flags int } }
	if inStudyFolder(t, study, &r, "results"); len(r.Sessions) != 1 || r.Sessions[0].Flags != 1 {
		t.Errorf("the journal holds no trace: %+v", r.Sessions)
	}
}

// A session that was removed with all its traces in the study is missed.
func TestASessionRemovedIsMissed(t *testing.T) {
	study := listeningStudy(t, "abx", 6)
	before := filepath.Join(t.TempDir(), "before")
	copyFolder(t, study, before)
	beginSession(t, study, 6)
	// The record from before the session, put back in place: the same file with other content.
	content, err := os.ReadFile(filepath.Join(before, "study.db"))
	must(t, err)
	for _, name := range []string{"study.db-wal", "study.db-shm"} {
		_ = os.Remove(filepath.Join(study, name))
	}
	must(t, os.WriteFile(filepath.Join(study, "study.db"), content, 0o644))
	if said := saysOf(t, study, exitRejected, "verify"); !strings.Contains(said, "begun here on") || !strings.Contains(said, "was removed") {
		t.Errorf("%s", said)
	}
}
