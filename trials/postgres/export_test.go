package postgres

import "time"

// WithSilence returns the server with another longest wait for a reply.
func (s Server) WithSilence(d time.Duration) Server {
	s.silence = d
	return s
}

// WithPulse returns the server with another interval between checks of its connection; 0: never.
func (s Server) WithPulse(d time.Duration) Server {
	s.pulse = d
	return s
}
