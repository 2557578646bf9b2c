package main

import (
	"context"
	"errors"
	"fmt"

	"heardiff/trials"
	"heardiff/trials/store"
)

// endedSession is a session that has ended, revealed but for its single trials, and who listened.
type endedSession struct {
	store.Session
	who    store.Listener
	result trials.Result
	// arrived is the entry of the record with which its end became known here, 0 for what is older than the record.
	arrived int
}

// endedSessions returns the sessions that have ended, in the order in which they began. What they came to is read from
// where it is kept; what is not kept yet is dealt again from the entries, and kept. broken is told of sessions whose
// record is damaged; where it returns nil the session is left out.
func endedSessions(ctx context.Context, s *store.Store, broken func(v store.Session, err error) error) ([]endedSession, error) {
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	known, err := s.Outcomes(ctx)
	if err != nil {
		return nil, err
	}
	plans, listeners, err := plansAndListeners(ctx, s)
	if err != nil {
		return nil, err
	}
	arrivals, err := s.Arrivals(ctx)
	if err != nil {
		return nil, err
	}
	var all []endedSession
	fresh := map[string]trials.Summary{}
	for _, v := range sessions {
		summary, ok := known[v.ID]
		if !ok {
			r, err := revealStored(ctx, s, v)
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
			return nil, rejected(err, `"heardiff verify" tells more`)
		}
		all = append(all, endedSession{v, listeners[v.Listener], r, arrivals[v.ID]})
	}
	return all, s.KeepOutcomes(ctx, fresh)
}

func plansAndListeners(ctx context.Context, s *store.Store) (map[string]trials.Plan, map[string]store.Listener, error) {
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

// revealStored deals a session again from its entries.
func revealStored(ctx context.Context, s *store.Store, v store.Session) (trials.Result, error) {
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

// damaged makes a session whose record is damaged a rejected input.
func damaged(v store.Session, err error) error {
	return rejected(fmt.Errorf("session %s: %w", v.ID, err), `"heardiff verify" tells more`)
}
