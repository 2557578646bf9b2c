package main

import (
	"context"
	"errors"
	"strings"
	"testing"
)

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestAResultThatCannotBePrintedIsAFailure(t *testing.T) {
	for _, form := range []string{"", " --json"} {
		var errs strings.Builder
		args := strings.Fields("score --design abx --correct 12 --trials 16" + form)
		if code := run(context.Background(), args, strings.NewReader(""), full{}, &errs); code != exitFailed || !strings.Contains(errs.String(), "no space left") {
			t.Errorf("score%s: exit %d, %q", form, code, errs.String())
		}
	}
}
