package postgres

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"sync"
	"time"
)

// silence is how long a server that owes an answer may say nothing before the connection counts as lost. No statement of
// the store takes as long: what waits for others asks anew, see Alone.
const silence = 20 * time.Second

// ErrSilent is wrapped where the server, or the way to it, has gone silent.
var ErrSilent = errors.New("the server has gone silent")

// dialer returns what connects so that a network which no longer carries anything is noticed, by the system within silence where nothing is
// owed, and by heard where an answer is.
func dialer(silence time.Duration) func(ctx context.Context, network, address string) (net.Conn, error) {
	d := net.Dialer{KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: silence / 4, Interval: silence / 4, Count: 3}}
	return func(ctx context.Context, network, address string) (net.Conn, error) {
		conn, err := d.DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		return &heard{Conn: conn, silence: silence}, nil
	}
}

// heard is a connection on which a Read ends after silence, unless its user has set a deadline.
type heard struct {
	net.Conn
	silence time.Duration
	mu      sync.Mutex
	set     bool // the user's deadline
}

// Read implements net.Conn.
func (h *heard) Read(p []byte) (int, error) {
	h.mu.Lock()
	own := !h.set
	if own {
		h.Conn.SetReadDeadline(time.Now().Add(h.silence)) // where it cannot be set, Read tells why
	}
	h.mu.Unlock()
	n, err := h.Conn.Read(p)
	h.mu.Lock()
	defer h.mu.Unlock()
	if own && !h.set && errors.Is(err, os.ErrDeadlineExceeded) {
		err = fmt.Errorf("%w: nothing for %v", ErrSilent, h.silence)
	}
	return n, err
}

// SetDeadline implements net.Conn.
func (h *heard) SetDeadline(t time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.set = !t.IsZero()
	return h.Conn.SetDeadline(t)
}

// SetReadDeadline implements net.Conn.
func (h *heard) SetReadDeadline(t time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.set = !t.IsZero()
	return h.Conn.SetReadDeadline(t)
}
