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

// A pipe from which nobody reads on must not keep one either, whether text is printed there or a file is written.
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
