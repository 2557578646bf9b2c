package study

import (
	"context"
	"errors"
	"fmt"

	"heardiff/trials"
	"heardiff/trials/store"
)

// EndedSession is a session that has ended, revealed except for its single trials, and its listener.
type EndedSession struct {
	store.Session
	Who    store.Listener
	Result trials.Result
	// Arrived is the entry of the record with which its end became known here, 0 for a session older than the record.
	Arrived int
}

// EndedSessions returns the sessions that have ended, in the order in which they began. Stored results are used; a result that is not
// stored yet is computed from the entries, and stored. broken is called for sessions whose record is damaged; where it returns nil the
// session is left out.
func (s *Study) EndedSessions(ctx context.Context, broken func(v store.Session, err error) error) ([]EndedSession, error) {
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	known, err := s.record.Outcomes(ctx)
	if err != nil {
		return nil, err
	}
	plans, listeners, err := s.PlansAndListeners(ctx)
	if err != nil {
		return nil, err
	}
	arrivals, err := s.Arrivals(ctx)
	if err != nil {
		return nil, err
	}
	var all []EndedSession
	fresh := map[string]trials.Summary{}
	for _, v := range sessions {
		summary, ok := known[v.ID]
		if !ok {
			r, err := s.RevealStored(ctx, v)
			if errors.Is(err, trials.ErrBlind) {
				continue
			}
			if err != nil {
				if err := broken(v, err); err != nil {
					return nil, err
				}
				continue
			}
			summary = r.Summary()
			fresh[v.ID] = summary
		}
		r, err := summary.Result(v.ID, plans[v.Plan])
		if err != nil {
			return nil, advised(Rejection, err, verifyHint())
		}
		all = append(all, EndedSession{v, listeners[v.Listener], r, arrivals[v.ID]})
	}
	return all, s.record.KeepOutcomes(ctx, fresh)
}

// PlansAndListeners returns the plans and the listeners by their identifiers.
func (s *Study) PlansAndListeners(ctx context.Context) (map[string]trials.Plan, map[string]store.Listener, error) {
	plans, err := s.PlansByID(ctx)
	if err != nil {
		return nil, nil, err
	}
	all, err := s.Listeners(ctx)
	if err != nil {
		return nil, nil, err
	}
	listeners := map[string]store.Listener{}
	for _, v := range all {
		listeners[v.ID] = v
	}
	return plans, listeners, nil
}

// RevealStored recomputes the result of a session from its entries.
func (s *Study) RevealStored(ctx context.Context, v store.Session) (trials.Result, error) {
	p, err := s.Plan(ctx, v.Plan)
	if err != nil {
		return trials.Result{}, err
	}
	entries, err := s.Entries(ctx, v.ID)
	if err != nil {
		return trials.Result{}, err
	}
	return trials.Reveal(p, entries)
}

// Damaged marks an error about a session whose record is damaged as a rejected input.
func Damaged(v store.Session, err error) error {
	return advised(Rejection, fmt.Errorf("session %s: %w", v.ID, err), verifyHint())
}
