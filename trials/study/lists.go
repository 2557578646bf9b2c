package study

import (
	"context"
	"time"

	"heardiff/trials"
)

// ListedCapture is a capture as a list shows it.
type ListedCapture struct {
	Capture
	Seconds float64 `json:"seconds"`
	// Measured: its own kind has been measured of it; nil where nothing is measured of the kind.
	Measured *bool `json:"measured"`
}

// CaptureList returns all captures in the order in which they were added.
func (s *Study) CaptureList(ctx context.Context) ([]ListedCapture, error) {
	m, err := newStudyMeter(ctx, s, MeasureOptions{})
	if err != nil {
		return nil, err
	}
	all := make([]ListedCapture, 0, len(m.captures))
	for _, c := range m.captures {
		v := ListedCapture{Capture: c, Seconds: float64(c.Frames) / float64(c.RateHz)}
		if len(measuredFrom(c.Kind)) > 0 || isSent(c.Kind) {
			measured := m.results[of{c.ID, c.Kind}] != nil
			v.Measured = &measured
		}
		all = append(all, v)
	}
	return all, nil
}

// ListedSession is a session as a list shows it, without anything that was answered.
type ListedSession struct {
	Session  string    `json:"session"`
	Number   int       `json:"number"` // from 1 in the order in which they began
	Plan     string    `json:"plan"`
	Listener string    `json:"listener"`
	Begun    time.Time `json:"begun"`
	Ended    bool      `json:"ended"`
	Device   string    `json:"device"`
	Site     string    `json:"site"` // the fingerprint of the site where it was run, "" for this one
}

// SessionList returns all sessions in the order in which they began.
func (s *Study) SessionList(ctx context.Context) ([]ListedSession, error) {
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	last, err := s.record.Heads(ctx)
	if err != nil {
		return nil, err
	}
	all := make([]ListedSession, 0, len(sessions))
	for _, v := range sessions {
		all = append(all, ListedSession{v.ID, v.Number, v.Plan, v.Listener, v.Created, last[v.ID].Kind == trials.EntryEnd, v.Device, v.Site})
	}
	return all, nil
}
