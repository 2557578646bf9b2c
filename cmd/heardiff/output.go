package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"sync/atomic"
	"time"

	"golang.org/x/term"

	"heardiff/stats/wire"
)

// progressLine knows whether a line of progress is on the terminal.
type progressLine struct{ drawn atomic.Bool }

// print writes result to standard output: as one JSON object with --json, else as text. What cannot be written, as on a
// full disk, is an error.
func (a *app) print(result any, text func(w io.Writer)) error {
	out, err := a.laidOut(result, text)
	if err != nil {
		return err
	}
	return a.printLaidOut(out)
}

// laidOut is what print writes.
func (a *app) laidOut(result any, text func(w io.Writer)) ([]byte, error) {
	if a.json {
		data, err := wire.Marshal(result)
		if err != nil {
			return nil, fmt.Errorf("encode the result: %w", err)
		}
		return append(data, '\n'), nil
	}
	var lines bytes.Buffer
	text(&lines)
	return []byte(lay(lines.String(), columnsOf(a.raw))), nil
}

func (a *app) printLaidOut(out []byte) error {
	a.clearLine()
	if _, err := a.stdout.Write(out); err != nil {
		return fmt.Errorf("print the result: %w", err)
	}
	return nil
}

// warn writes one line to standard error.
func (a *app) warn(format string, args ...any) {
	a.say("warning: "+format, args...)
}

// redrawAfter is how often a line of progress is drawn anew: as fast as one reads. A judgement, no source; no figure depends on it.
const redrawAfter = 100 * time.Millisecond

// progress returns a function that takes how much of the work named what is done, 0 to 1. It draws a line on
// standard error where that is a terminal and the work takes more than a second, and clears it at 1. What is printed
// clears it too, for work of several passes may end in the midst of one.
func (a *app) progress(what string) func(done float64) {
	f, ok := a.terminal.(*os.File)
	if !ok || a.line == nil || !term.IsTerminal(int(f.Fd())) {
		return func(float64) {}
	}
	begun, drawn := a.now(), time.Time{}
	return func(done float64) {
		now := a.now()
		switch {
		case done >= 1:
			a.clearLine()
		case now.Sub(begun) >= time.Second && now.Sub(drawn) >= redrawAfter:
			drawn = now
			a.line.drawn.Store(true)
			fmt.Fprintf(f, "\r\x1b[K%s %3.0f %%", what, 100*done)
		}
	}
}

// clearLine takes away the line of progress, if one is there.
func (a *app) clearLine() {
	if a.line != nil && a.line.drawn.Swap(false) {
		fmt.Fprint(a.terminal, "\r\x1b[K")
	}
}
