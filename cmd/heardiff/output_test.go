package main

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
)

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestWhatCannotBePrintedIsAFailure(t *testing.T) {
	for _, line := range []string{"score --design abx --correct 12 --trials 16", "score --design abx --correct 12 --trials 16 --json", "help", "help plan new", "plan", "completion bash", "--version"} {
		var errs strings.Builder
		if code := run(context.Background(), strings.Fields(line), strings.NewReader(""), full{}, &errs); code != exitFailed || !strings.Contains(errs.String(), "no space left") {
			t.Errorf("%s: exit %d, %q", line, code, errs.String())
		}
	}
}

// Work of several passes may end in the midst of one: what is printed then must not follow a line of progress on the same line.
func TestWhatIsPrintedClearsTheLineOfProgress(t *testing.T) {
	for name, say := range map[string]func(a *app){
		"a result":  func(a *app) { must(t, a.print("x", func(io.Writer) {})) },
		"a warning": func(a *app) { a.warn("x") },
		"a failure": func(a *app) { a.fail(context.Background(), errors.New("x")) },
	} {
		var errs strings.Builder
		a := &app{stdout: io.Discard, stderr: &errs, terminal: &errs, line: &progressLine{}}
		a.line.drawn.Store(true)
		say(a)
		first := errs.String()
		say(a)
		if !strings.HasPrefix(first, "\r\x1b[K") || strings.Contains(errs.String()[len(first):], "\x1b") {
			t.Errorf("%s: %q", name, errs.String())
		}
	}
}
