package storetest

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/store"
)

// childEnv tells the test binary to be the process that is killed.
const childEnv = "HEARDIFF_TEST_CHILD_STUDY"

// Main is the body of a TestMain: it runs the tests, or, as the process that is killed, answers for ever.
func Main(m *testing.M, open func(ctx context.Context, dir string) (*store.Store, error)) int {
	dir := os.Getenv(childEnv)
	if dir == "" {
		return m.Run()
	}
	work := answerForEver
	if os.Getenv(childWork) != "" {
		work = workForEver
	}
	if err := work(dir, open); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// answerForEver answers trial after trial and prints the number of each once it is kept.
func answerForEver(dir string, open func(ctx context.Context, dir string) (*store.Store, error)) error {
	ctx := context.Background()
	s, err := open(ctx, dir)
	if err != nil {
		return err
	}
	entries, err := s.Entries(ctx, "s1")
	if err != nil {
		return err
	}
	session, err := trials.Resume(Plan(trials.MaxTrials), trials.Seed{1}, entries, s.Journal(ctx), time.Now)
	if err != nil {
		return err
	}
	for session.View().Phase != trials.Done {
		session.Heard(trials.LabelX, 1)
		session.Heard(trials.LabelA, 1)
		if err := session.Ask(trials.AnswerB, 0); err != nil {
			return err
		}
		if err := session.Confirm(); err != nil {
			return err
		}
		fmt.Println("kept", session.View().Trial-1)
	}
	return nil
}

// A process is killed at random moments while it writes answers; each time the study must hold every answer that was acknowledged, in an
// unbroken chain, and the session must resume at the trial after the last one kept. This tests the death of the process: the page cache
// survives it, so it says nothing of a power failure.
func survivesKill(t *testing.T, b Backend) {
	rounds := b.Kills
	s := b.New(t, time.Now)
	WithSession(t, s, trials.MaxTrials)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	total := 0
	for round := range rounds {
		acknowledged := killChild(t, s.Dir(), time.Duration(10+random.IntN(90))*time.Millisecond)
		checkAfterKill(t, b, s.Dir(), round, acknowledged)
		total = max(total, acknowledged)
	}
	if total < rounds {
		t.Errorf("only %d answers were written before the kills: the test tests nothing", total)
	}
}

// killChild runs a child, kills it some time after it first reports something as kept, and returns the last thing it reported.
func killChild(t *testing.T, dir string, after time.Duration, more ...string) int {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(append(os.Environ(), childEnv+"="+dir), more...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	// The time begins with the first thing kept: a busy machine takes longer than that to start a process.
	kill := time.AfterFunc(time.Minute, func() { cmd.Process.Kill() })
	last := 0
	for begun, lines := false, bufio.NewScanner(out); lines.Scan(); begun = true {
		if !begun {
			kill.Reset(after)
		}
		fmt.Sscanf(strings.TrimSpace(lines.Text()), "kept %d", &last)
	}
	cmd.Wait() // killed: the error says so
	return last
}

func checkAfterKill(t *testing.T, b Backend, dir string, round, acknowledged int) {
	t.Helper()
	ctx := context.Background()
	s, err := b.Open(ctx, dir)
	if err != nil {
		t.Fatalf("round %d: %v", round, err)
	}
	defer s.Close()
	entries, err := s.Entries(ctx, "s1")
	if err != nil {
		t.Fatal(err)
	}
	session, err := trials.Resume(Plan(trials.MaxTrials), trials.Seed{1}, entries, s.Journal(ctx), time.Now)
	if err != nil {
		t.Fatalf("round %d: %v", round, err)
	}
	if kept := session.View().Trial - 1; kept < acknowledged {
		t.Fatalf("round %d: %d answers acknowledged, %d kept", round, acknowledged, kept)
	}
}
