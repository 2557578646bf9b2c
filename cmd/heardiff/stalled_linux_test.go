package main

import (
	"bufio"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"heardiff/trials/study"

	_ "github.com/jackc/pgx/v5/stdlib"
	"golang.org/x/sys/unix"
)

// seated is a listening session in a process of its own, line by line.
type seated struct {
	t     *testing.T
	child *exec.Cmd
	in    io.WriteCloser
	out   *bufio.Scanner
	errs  strings.Builder
}

func seat(t *testing.T) *seated {
	t.Helper()
	s := &seated{t: t, child: process("listen", "--plan", "1", "--listener", "L1", "--plain", "--device", "null")}
	s.child.Stderr = &s.errs
	var err error
	s.in, err = s.child.StdinPipe()
	must(t, err)
	out, err := s.child.StdoutPipe()
	must(t, err)
	s.out = bufio.NewScanner(out)
	must(t, s.child.Start())
	t.Cleanup(func() { _ = s.child.Process.Kill() })
	return s
}

// say types a command and returns the line that answers it.
func (s *seated) say(command string) string {
	s.t.Helper()
	fmt.Fprintln(s.in, command)
	return s.line()
}

func (s *seated) line() string {
	s.t.Helper()
	if !s.out.Scan() {
		s.t.Fatalf("the session ended: %s", s.errs.String())
	}
	return s.out.Text()
}

// sounds is how long a label is heard.
const sounds = 50 * time.Millisecond

// answer hears both labels and answers; it leaves the answer to be confirmed.
func (s *seated) answer() {
	s.t.Helper()
	for range 100 { // until both have sounded
		s.say("a")
		time.Sleep(sounds)
		s.say("x")
		time.Sleep(sounds)
		if strings.HasPrefix(s.say("answer a"), "asked") {
			return
		}
	}
	s.t.Fatal("no sound in the session")
}

// rest returns what else is said until the process has ended, and its exit code.
func (s *seated) rest() (said string, code int) {
	s.t.Helper()
	for s.out.Scan() {
		said += s.out.Text() + "\n"
	}
	var exit *exec.ExitError
	if err := s.child.Wait(); err != nil && !errors.As(err, &exit) {
		s.t.Fatal(err)
	}
	return said, s.child.ProcessState.ExitCode()
}

// Every signal that asks a session to end leaves it: what is kept is said, nothing shows a stack, and it goes on where it was.
func TestSignalsLeaveASessionWithEveryAnswerKept(t *testing.T) {
	listeningStudy(t, "abx", 6)
	for i, signal := range []syscall.Signal{syscall.SIGQUIT, syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP} {
		s := seat(t)
		if said, want := s.line(), fmt.Sprintf("ready %d of 6", i+1); !strings.HasPrefix(said, want) {
			t.Fatalf("%v: %q, want %s", signal, said, want)
		}
		s.answer()
		s.say("confirm")
		s.line()
		must(t, s.child.Process.Signal(signal))
		said, code := s.rest()
		if want := fmt.Sprintf("the answers to %d of 6 trials are kept", i+1); code != exitInterrupted || !strings.HasPrefix(said, "stopped — ") || !strings.Contains(said, want) {
			t.Errorf("%v: exit %d, %q", signal, code, said)
		}
		if errs := s.errs.String(); strings.Contains(errs, "goroutine") || strings.Contains(said, "goroutine") {
			t.Errorf("%v shows a stack: %s", signal, errs)
		}
	}
}

// stall stops the server's process behind the only session, so that it takes what is sent and answers nothing, and returns what lets
// it go on.
func stall(t *testing.T) (goOn func()) {
	t.Helper()
	db, err := sql.Open("pgx", os.Getenv(study.StoreEnv))
	must(t, err)
	defer db.Close()
	var pid int
	must(t, db.QueryRow(`SELECT pid FROM pg_stat_activity WHERE application_name = 'heardiff'`).Scan(&pid))
	if err := syscall.Kill(pid, syscall.SIGSTOP); err != nil {
		t.Skipf("NOT TESTED: the server's processes cannot be stopped from here: %v", err)
	}
	goOn = func() { _ = syscall.Kill(pid, syscall.SIGCONT) }
	t.Cleanup(goOn)
	return goOn
}

const notAsked = "what is kept cannot be asked now"

// A server that stalls in the midst of a commit does not keep a listener who types quit, or is interrupted: nothing is claimed of the
// answer, and the session goes on once the server does.
func TestASessionIsLeftWhileItsServerStalls(t *testing.T) {
	requireServer(t)
	listeningStudy(t, "abx", 4) // one more than answers are given: the server may keep all of them once it goes on
	for _, c := range []struct {
		name  string
		leave func(s *seated)
		code  int
	}{
		{"quit", func(s *seated) { fmt.Fprintln(s.in, "quit") }, 0},
		{"interrupt", func(s *seated) { _ = s.child.Process.Signal(os.Interrupt) }, exitInterrupted},
	} {
		s := seat(t)
		s.line()
		s.answer()
		goOn := stall(t)
		fmt.Fprintln(s.in, "confirm")
		time.Sleep(10 * sounds) // nobody gives up sooner
		begin := time.Now()
		c.leave(s)
		said, code := s.rest()
		t.Logf("%s: left after %v", c.name, time.Since(begin).Round(10*time.Millisecond))
		if code != c.code || !strings.HasPrefix(said, "stopped — ") || !strings.Contains(said, notAsked) || !strings.Contains(said, "resume with: heardiff listen") {
			t.Errorf("%s: exit %d, %q, %s", c.name, code, said, s.errs.String())
		}
		goOn()
	}
	t.Run("full screen", fullScreenIsLeft)
	s := seat(t)
	if said := s.line(); !strings.HasPrefix(said, "ready ") {
		t.Errorf("once the server goes on: %s", said)
	}
	s.say("quit")
	s.rest()
	command(t, 0, "verify")
}

// fullScreenIsLeft leaves the full screen with q while a commit stalls, and lets the server go on.
func fullScreenIsLeft(t *testing.T) {
	master, slave := terminal(t)
	child := process("listen", "--plan", "1", "--listener", "L1", "--device", "null")
	child.Env = append(child.Env, "TERM=xterm-256color")
	child.Stdin, child.Stdout, child.Stderr = slave, slave, slave
	child.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	must(t, child.Start())
	t.Cleanup(func() { _ = child.Process.Kill() })
	blocks := make(chan string)
	go func() {
		defer close(blocks)
		for {
			block := make([]byte, 4096)
			n, err := master.Read(block)
			if err != nil {
				return
			}
			blocks <- string(block[:n])
		}
	}()
	var shown strings.Builder
	show := func(until string) {
		t.Helper()
		late := time.After(20 * time.Second)
		for from := shown.Len(); !strings.Contains(shown.String()[from:], until); {
			select {
			case block, open := <-blocks:
				if !open {
					t.Fatalf("the screen ended before %q was shown: %q", until, shown.String())
				}
				shown.WriteString(block)
			case <-late: // the screen goes on drawing its clock
				t.Fatalf("%q was not shown: %q", until, shown.String())
			}
		}
	}
	press := func(keys, until string) { fmt.Fprint(master, keys); show(until) }
	show("Hearing")
	press("\r", "Which one is X")
	press("a", "playing")
	time.Sleep(10 * sounds)
	press("x", "heard")
	time.Sleep(10 * sounds)
	press("j", "X is A")
	defer stall(t)()
	press("\r", "Waiting for the study's record")
	begin := time.Now()
	fmt.Fprint(master, "q")
	show("resume with: heardiff listen")
	err := child.Wait()
	t.Logf("left after %v", time.Since(begin).Round(10*time.Millisecond))
	if err != nil || !strings.Contains(shown.String(), notAsked) {
		t.Errorf("%v: %q", err, shown.String())
	}
}

// terminal returns both ends of a pseudo-terminal of 80 columns and 24 lines.
func terminal(t *testing.T) (master, slave *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Skipf("NOT TESTED: no pseudo-terminal here: %v", err)
	}
	t.Cleanup(func() { master.Close() })
	number, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	must(t, err)
	must(t, unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0))
	must(t, unix.IoctlSetWinsize(int(master.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 24, Col: 80}))
	slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|unix.O_NOCTTY, 0)
	must(t, err)
	t.Cleanup(func() { slave.Close() })
	return master, slave
}
