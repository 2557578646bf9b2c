package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/trials/study"
)

// Keys within a study would go wherever it goes; keys that others can read are warned of.
func TestKeysStayAwayFromStudiesAndReaders(t *testing.T) {
	study := listeningStudy(t, "abx", 3)
	outside := t.TempDir()
	t.Setenv("HEARDIFF_KEYS", outside)
	answerPlan(t)
	inside := filepath.Join(study, "keys")
	must(t, os.Mkdir(inside, 0o700))
	link := filepath.Join(t.TempDir(), "keys")
	must(t, os.Symlink(inside, link))
	out := filepath.Join(t.TempDir(), "out.bundle")
	for _, dir := range []string{study, inside, filepath.Join(inside, "not", "yet"), link} {
		t.Setenv("HEARDIFF_KEYS", dir)
		refused(t, 2, "export", "--out", out)
		command(t, 2, "listen", "--plan", "1", "--listener", "L1", "--again", "--plain", "--device", "null")
	}
	if got := files(t, inside); got != "" {
		t.Errorf("%s was made within the study", got)
	}
	t.Setenv("HEARDIFF_KEYS", outside)
	if _, errs := command(t, 0, "export", "--out", out); errs != "" {
		t.Errorf("said %q", errs)
	}
	info, err := os.Stat(filepath.Join(outside, "site.key"))
	must(t, err)
	if info.Mode().Perm() != 0o600 || files(t, outside) != "ledger session.key site.key" {
		t.Errorf("mode %v; %s are there", info.Mode(), files(t, outside))
	}
	must(t, os.Chmod(filepath.Join(outside, "site.key"), 0o644))
	if _, errs := command(t, 0, "export", "--out", out, "--force"); strings.Count(errs, "can be read by others") != 1 {
		t.Errorf("said %q", errs)
	}
}

// What forgetting a listener cannot remove is named.
func TestWhatForgettingLeavesIsNamed(t *testing.T) {
	listeningStudy(t, "abx", 3)
	s := openCurrent(t)
	seat, err := s.Sit(t.Context(), study.SitOptions{Plan: "1", Listener: "L1"})
	must(t, err)
	session, err := seat.Start(t.Context(), "default, 48000 Hz", false)
	must(t, err)
	must(t, session.Void("my neighbour rang"))
	must(t, errors.Join(seat.Close(), s.Close()))
	var said study.Forgotten
	text := decode(t, &said, "listener", "forget", "L1", "--json")
	if said.Listener != "L1" || len(said.Remains) != 1 || said.Remains[0].Remarks != 1 {
		t.Errorf("said %s", text)
	}
	text, _ = command(t, 0, "listener", "forget", "L1")
	if !strings.Contains(text, "1 reason in their words") || !strings.Contains(text, "exports") {
		t.Errorf("said %s", text)
	}
}
