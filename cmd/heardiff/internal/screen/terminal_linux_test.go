package screen

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// TestTheTerminalHasItsName fails in the child of the test below where the name of its terminal is not the one it was given.
func TestTheTerminalHasItsName(t *testing.T) {
	if os.Getenv("HEARDIFF_TEST_CHILD") != "" && os.Getenv("TERM") != "xterm-256color" {
		t.Errorf("TERM is %q", os.Getenv("TERM"))
	}
}

// A program that draws screens asks its terminal nothing when it starts: one that gives no answer would keep it waiting.
// The child is this test binary, which does nothing on a terminal that never answers; all that it writes there is read.
func TestTheTerminalIsAskedNothing(t *testing.T) {
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	defer master.Close()
	number, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	slave, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	child := exec.Command(os.Args[0], "-test.run=^TestTheTerminalHasItsName$", "-test.v")
	child.Env = append(os.Environ(), "TERM=xterm-256color", "CI=", "HEARDIFF_TEST_CHILD=1")
	child.Stdin, child.Stdout = slave, slave
	child.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true} // only a process that has a controlling terminal asks it
	if err := child.Run(); err != nil {
		t.Fatal(err)
	}
	fmt.Fprintln(slave, "the end")
	var said strings.Builder
	block := make([]byte, 4096)
	for !strings.Contains(said.String(), "the end") {
		n, err := master.Read(block)
		if err != nil {
			t.Fatal(err)
		}
		said.Write(block[:n])
	}
	if !strings.Contains(said.String(), "PASS") || strings.Contains(said.String(), "\x1b") {
		t.Errorf("the terminal was asked: %q", said.String())
	}
}
