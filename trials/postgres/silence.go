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

// silence is how long a server that owes a reply may be silent before the connection counts as lost. No statement of
// the store takes as long: those that wait for other writers are repeated, see Alone.
const silence = 20 * time.Second

// ErrSilent is wrapped where the server, or the way to it, has gone silent.
var ErrSilent = errors.New("the server has gone silent")

// dialer returns a dialer whose connections notice within silence that the network no longer carries anything: by the system's keep-alive
// while no reply is due, and by the deadline of watched while one is.
func dialer(silence time.Duration) func(ctx context.Context, network, address string) (net.Conn, error) {
	d := net.Dialer{KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: silence / 4, Interval: silence / 4, Count: 3}}
	return func(ctx context.Context, network, address string) (net.Conn, error) {
		conn, err := d.DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		return &watched{Conn: conn, silence: silence}, nil
	}
}

// watched is a connection on which a Read ends after silence, unless its user has set a deadline.
type watched struct {
	net.Conn
	silence time.Duration
	mu      sync.Mutex
	set     bool // the user's deadline
}

// Read implements net.Conn.
func (h *watched) Read(p []byte) (int, error) {
	h.mu.Lock()
	own := !h.set
	if own {
		h.Conn.SetReadDeadline(time.Now().Add(h.silence)) // if it cannot be set, Read returns why
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
func (h *watched) SetDeadline(t time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.set = !t.IsZero()
	return h.Conn.SetDeadline(t)
}

// SetReadDeadline implements net.Conn.
func (h *watched) SetReadDeadline(t time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.set = !t.IsZero()
	return h.Conn.SetReadDeadline(t)
}
