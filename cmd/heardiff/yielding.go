package main

import (
	"bytes"
	"context"
	"io"
	"sync"
	"time"
)

// yielding is a writer to a stream that somebody may have stopped reading: once the program is to stop, a write that is stuck
// there is left behind. After one that failed, all later ones are refused, so that no error is lost where nobody asks.
type yielding struct {
	ctx context.Context
	to  io.Writer

	mu     sync.Mutex
	failed error // the first
}

// writeGrace is how long a write may still take once the program is to stop: long enough for any that is not stuck.
const writeGrace = 200 * time.Millisecond

// failure returns the error of the first write that failed.
func (y *yielding) failure() error {
	y.mu.Lock()
	defer y.mu.Unlock()
	return y.failed
}

// Write implements io.Writer. It returns the error of the context for a write that is left behind.
func (y *yielding) Write(p []byte) (int, error) {
	if err := y.failure(); err != nil {
		return 0, err
	}
	n, err := y.write(p)
	if err != nil {
		y.mu.Lock()
		defer y.mu.Unlock()
		y.failed = err
	}
	return n, err
}

func (y *yielding) write(p []byte) (int, error) {
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
			return 0, y.ctx.Err()
		}
	}
}
