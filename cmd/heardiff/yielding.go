package main

import (
	"bytes"
	"context"
	"io"
	"sync/atomic"
	"time"
)

// yielding is a writer to a stream that somebody may have stopped reading: once the program is told to stop, a write that is stuck
// there is left behind, and all later ones are refused.
type yielding struct {
	ctx  context.Context
	to   io.Writer
	left *atomic.Bool
}

// writeGrace is how long a write may still take once the program is told to stop: long enough for any that is not stuck.
const writeGrace = 200 * time.Millisecond

func newYielding(ctx context.Context, to io.Writer) yielding {
	return yielding{ctx, to, new(atomic.Bool)}
}

// Write implements io.Writer. It returns the error of the context for a write that is left behind.
func (y yielding) Write(p []byte) (int, error) {
	if y.left.Load() {
		return 0, y.ctx.Err()
	}
	type outcome struct {
		n   int
		err error
	}
	p, done := bytes.Clone(p), make(chan outcome, 1) // the caller may change p while the write that was left behind goes on
	go func() {
		n, err := y.to.Write(p)
		done <- outcome{n, err}
	}()
	var late <-chan time.Time
	for stop := y.ctx.Done(); ; {
		select {
		case o := <-done:
			return o.n, o.err
		case <-stop:
			stop, late = nil, time.After(writeGrace)
		case <-late:
			y.left.Store(true)
			return 0, y.ctx.Err()
		}
	}
}
