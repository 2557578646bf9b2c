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

func (w watchedReader) ReadFrames(dst [][]float64, from int) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := w.Reader.ReadFrames(dst, from)
	w.progress(float64(from+n) / float64(max(1, w.Frames())))
	return n, err
}
