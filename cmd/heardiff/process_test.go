package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// processEnv tells the test binary to be heardiff.
const processEnv = "HEARDIFF_TEST_PROCESS"

// process returns heardiff as a process of its own, which can be killed.
func process(args ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), processEnv+"=1")
	return cmd
}

// answered is a study with an ended session, and its folder.
func answered(t *testing.T) (dir, study string) {
	t.Helper()
	study = listeningStudy(t, "abx", 3)
	answerPlan(t)
	return filepath.Dir(study), study
}
