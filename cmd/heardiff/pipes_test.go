//go:build unix

package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
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
