//go:build unix

package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A command that is interrupted must end even while it reads a pipe into which nobody writes.
func TestPipesDoNotHoldAnInterrupt(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skip(err)
	}
	t.Chdir(dir)
	command(t, 0, "study", "new", "s", "--title", "t")
	command(t, 0, "--study", "s", "chain", "add", "a")
	for _, args := range [][]string{
		{"pool", pipe}, {"fit", pipe}, {"import", pipe}, {"inspect", pipe}, {"compare", pipe, pipe}, {"measure", pipe, "--as", "tone"},
		{"--study", "s", "measure", "enter", "a", pipe}, {"--study", "s", "capture", "add", "a", pipe, "--as", "tone"},
	} {
		ctx, stop := context.WithCancel(context.Background())
		ended := make(chan int)
		var errs bytes.Buffer
		go func() { ended <- run(ctx, args, strings.NewReader(""), io.Discard, &errs) }()
		stop()
		if code := <-ended; code != exitInterrupted && code != exitRejected {
			t.Errorf("%q: exit %d, %s", args, code, errs.String())
		}
		if f, err := os.OpenFile(pipe, os.O_WRONLY|syscall.O_NONBLOCK, 0); err == nil {
			f.Close() // lets go whoever was left behind at the pipe
		}
	}
}

// A pipe that nobody reads any longer must not keep an interrupted command running either, whether text is printed there or a file is
// written.
func TestAPipeThatNobodyReadsDoesNotHoldAnInterrupt(t *testing.T) {
	t.Chdir(t.TempDir())
	command(t, 0, "study", "new", "s", "--title", "t")
	for _, args := range [][]string{{"notices"}, {"report", "--study", "s", "--out", "its own"}} {
		unread, into, err := os.Pipe()
		must(t, err)
		if args[len(args)-1] == "its own" {
			args[len(args)-1] = fmt.Sprintf("/dev/fd/%d", into.Fd())
		}
		ctx, stop := context.WithCancel(context.Background())
		ended := make(chan int)
		var errs bytes.Buffer
		go func() { ended <- run(ctx, args, strings.NewReader(""), into, &errs) }()
		_, err = io.ReadFull(unread, make([]byte, 1000)) // it writes
		must(t, err)
		stop()
		select {
		case code := <-ended:
			if code != exitInterrupted {
				t.Errorf("%q: exit %d, %s", args, code, errs.String())
			}
		case <-time.After(time.Minute):
			t.Errorf("%q: still there", args)
		}
		must(t, unread.Close()) // lets go whoever was left behind
		must(t, into.Close())
	}
}

// In a folder that came from elsewhere a pipe, or a device without end, may have the name of any file: no command waits at it, and
// what is needed and missing is named.
func TestAPipeInPlaceOfAFileIsNotWaitedFor(t *testing.T) {
	study := listeningStudy(t, "abx", 3)
	keys := os.Getenv("HEARDIFF_KEYS")
	answerPlan(t) // makes the keys and the ledger
	command(t, 0, "export", "--out", filepath.Join(t.TempDir(), "b"))
	excerpts, err := filepath.Glob(filepath.Join(study, "audio", "excerpts", "*", "*.wav"))
	must(t, err)
	sit := []string{"listen", "--plan", "1", "--listener", "L1", "--again", "--plain", "--device", "null"}
	mark := filepath.Join(t.TempDir(), demoMark)
	must(t, os.WriteFile(mark, []byte(demoText), 0o600))
	for _, c := range []struct {
		file string
		code int
		args []string
	}{
		{filepath.Join(study, "report.html"), 0, []string{"next"}},
		{filepath.Join(keys, "session.key"), exitFailed, sit},
		{filepath.Join(keys, "site.key"), exitFailed, []string{"export", "--out", filepath.Join(t.TempDir(), "b")}},
		{excerpts[0], exitRejected, []string{"verify"}},
		{mark, exitRejected, []string{"demo", "--dir", filepath.Dir(mark)}},
	} {
		for name, put := range map[string]func(string) error{
			"pipe":   func(path string) error { return syscall.Mkfifo(path, 0o600) },
			"device": func(path string) error { return os.Symlink("/dev/zero", path) },
		} {
			kept, err := os.ReadFile(c.file)
			if os.Remove(c.file); err != nil && !os.IsNotExist(err) {
				t.Fatal(err)
			}
			must(t, put(c.file))
			if code, said := soon(t, c.args); code != c.code {
				t.Errorf("%s for %s: %q: exit %d, %s", name, filepath.Base(c.file), c.args, code, said)
			}
			must(t, os.Remove(c.file))
			if err == nil {
				must(t, os.WriteFile(c.file, kept, 0o600))
			}
		}
	}
}

// soon runs a command that must end by itself, and gives it up after a minute.
func soon(t *testing.T, args []string) (code int, said string) {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	var errs bytes.Buffer
	ended := make(chan int)
	go func() { ended <- run(ctx, args, strings.NewReader(""), io.Discard, &errs) }()
	select {
	case code = <-ended:
		return code, errs.String()
	case <-time.After(time.Minute + 10*time.Second):
		t.Fatalf("%q: still there", args)
		return 0, ""
	}
}
