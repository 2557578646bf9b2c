package postgres

import "time"

// WithSilence returns a server that may owe an answer for so long only.
func (s Server) WithSilence(d time.Duration) Server {
	s.silence = d
	return s
}

// WithPulse returns a server that looks after its connection so often; 0: never.
func (s Server) WithPulse(d time.Duration) Server {
	s.pulse = d
	return s
}
