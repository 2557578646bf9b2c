package main

import (
	"context"

	"heardiff/playback/pcm"
)

// watchedReader shows how far a long reading has come, and ends it when the program is interrupted.
type watchedReader struct {
	pcm.Reader
	ctx      context.Context
	progress func(done float64)
}

// watched returns r under the eyes of the user: what says what is being done.
func (a *app) watched(ctx context.Context, r pcm.Reader, what string) pcm.Reader {
	return watchedReader{Reader: r, ctx: ctx, progress: a.progress(what)}
}

// interruptible returns r that ends when the program is interrupted, without showing how far it is.
func interruptible(ctx context.Context, r pcm.Reader) pcm.Reader {
	return watchedReader{Reader: r, ctx: ctx, progress: func(float64) {}}
}

// interruptibly runs a computation that does not heed ctx, and leaves it behind when the program is interrupted.
func interruptibly[T any](ctx context.Context, compute func() (T, error)) (T, error) {
	type outcome struct {
		value T
		err   error
	}
	done := make(chan outcome, 1)
	go func() {
		v, err := compute()
		done <- outcome{v, err}
	}()
	select {
	case <-ctx.Done():
		var none T
		return none, ctx.Err()
	case o := <-done:
		return o.value, o.err
	}
}

// ReadFrames implements pcm.Reader.
func (w watchedReader) ReadFrames(dst [][]float64, from int) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := w.Reader.ReadFrames(dst, from)
	w.progress(float64(from+n) / float64(max(1, w.Frames())))
	return n, err
}
