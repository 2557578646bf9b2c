package study

import "context"

// Interruptibly runs a computation that does not heed ctx, and abandons it when the program is interrupted.
func Interruptibly[T any](ctx context.Context, compute func() (T, error)) (T, error) {
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
