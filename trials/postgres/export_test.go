package postgres

import "time"

// WithSilence returns a server that may owe an answer for so long only.
func (s Server) WithSilence(d time.Duration) Server {
	s.silence = d
	return s
}
