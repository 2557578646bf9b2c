package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A helper who follows every request, on a second terminal, and a listener who peeks at the helper's terminal: every answer must
// be right, and the result must say that it was single-blind.
func TestHelperConnectsWhatTheListenerAsksFor(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("HEARDIFF_KEYS", filepath.Join(dir, "k"))
	t.Setenv("HEARDIFF_STUDY", filepath.Join(dir, "s"))
	command(t, 0, "study", "new", filepath.Join(dir, "s"), "--title", "by hand")
	command(t, 0, "chain", "add", "left")
	command(t, 0, "chain", "add", "right")
	command(t, 0, "listener", "add", "L1")
	command(t, 2, "plan", "new", "--by-hand", "--a", "left", "--b", "right", "--trials", "2", "--positive", "1")
	command(t, 0, "plan", "new", "--by-hand", "--a", "left", "--b", "right", "--trials", "2")
	command(t, 1, "helper")

	in, say := io.Pipe()
	replies, out := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(context.Background(), []string{"listen", "--plan", "1", "--listener", "L1", "--plain"}, in, out, io.Discard)
		out.Close()
	}()
	connected := helperTerminal(t)
	lines := bufio.NewScanner(replies)
	next := func(word string) {
		t.Helper()
		if !lines.Scan() || !strings.HasPrefix(lines.Text(), word) {
			t.Fatalf("%q, want %s", lines.Text(), word)
		}
	}
	next("ready 1 of 2")
	for range 2 {
		fmt.Fprintln(say, "a")
		if got := <-connected; got != "left" {
			t.Fatalf("A is %s", got)
		}
		next("playing")
		fmt.Fprintln(say, "x")
		answer := map[string]string{"left": "a", "right": "b"}[<-connected]
		next("playing")
		fmt.Fprintln(say, "answer "+answer)
		next("asked")
		fmt.Fprintln(say, "confirm")
		next("saved")
		lines.Scan()
	}
	for lines.Scan() {
	}
	if code := <-ended; code != 0 {
		t.Errorf("exit %d", code)
	}
	if r := results(t); r.Correct != 2 {
		t.Errorf("%+v", r)
	}
	if text, _ := command(t, 0, "link", "--json"); !strings.Contains(text, "single blind") {
		t.Error("the result does not say that it was single-blind")
	}
}

// helperTerminal joins as helper, confirms each request and hands on what was asked for.
func helperTerminal(t *testing.T) <-chan string {
	t.Helper()
	connected := make(chan string, 16)
	in, press := io.Pipe()
	screen, out := io.Pipe()
	go func() {
		for {
			var errs bytes.Buffer
			if run(context.Background(), []string{"helper"}, in, out, &errs) == 0 || !strings.Contains(errs.String(), "no listener waits") {
				out.Close()
				return
			}
			time.Sleep(20 * time.Millisecond) // the listener is not there yet
		}
	}()
	go func() {
		for lines := bufio.NewScanner(screen); lines.Scan(); {
			if chain, ok := strings.CutPrefix(lines.Text(), "connect  "); ok {
				connected <- chain
				fmt.Fprintln(press)
			}
		}
	}()
	t.Cleanup(func() { press.Close() })
	return connected
}
