package pcm

import "context"

// Until returns a reader of r that ends with ctx and reports to progress, unless that is nil, which part of r has been read, 0 to 1.
func Until(ctx context.Context, r Reader, progress func(done float64)) Reader {
	if progress == nil {
		progress = func(float64) {}
	}
	return untilReader{Reader: r, ctx: ctx, progress: progress}
}

type untilReader struct {
	Reader
	ctx      context.Context
	progress func(done float64)
}

// ReadFrames implements Reader.
func (u untilReader) ReadFrames(dst [][]float64, from int) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := u.Reader.ReadFrames(dst, from)
	u.progress(float64(from+n) / float64(max(1, u.Frames())))
	return n, err
}
