package storetest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"sort"
	"sync"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/store"
)

// memory is a journal that is not on disk.
type memory struct{ entries []trials.Entry }

// Append implements trials.Journal.
func (m *memory) Append(e trials.Entry) error { m.entries = append(m.entries, e); return nil }

// bundle returns what a site sends: sessions of one listener of its own, who disclosed more each time.
func bundle(t *testing.T, site, sent int) store.Merge {
	t.Helper()
	m := store.Merge{Bundle: fmt.Sprintf("bundle-%d-%d", site, sent), Site: fmt.Sprintf("site-%d", site)}
	p := Plan(4)
	p.ID = fmt.Sprint(1 + site%2)
	m.Plans = []trials.Plan{p}
	who := fmt.Sprintf("L1@%d", site)
	l := store.Listener{ID: who, Group: []string{"Trained", "trained", "Ünsure"}[site%3]}
	if sent > 0 {
		years := float64(sent)
		l.Years, l.Hearing, l.Simulated = &years, fmt.Sprintf("said %d", sent), sent > 1
	}
	m.Listeners = []store.Listener{l}
	for k := range sent + 1 {
		id := fmt.Sprintf("session-%d-%d", site, k)
		entries := ended(t, id, p)
		r, err := trials.Reveal(p, entries)
		if err != nil {
			t.Fatal(err)
		}
		outcome := r.Summary()
		m.Sessions = append(m.Sessions, store.MergeSession{ID: id, Listener: who, PlanHash: p.HashText(), Entries: entries, Outcome: &outcome,
			Marks: []trials.Mark{trials.MarkMoved, trials.MarkOpened}[:min(sent, 2)]})
		m.Begun = append(m.Begun, store.Begun{Site: m.Site, Number: k + 1, Session: id, Seal: entries[0].Note})
	}
	// One more session was begun, and the number after it is missing.
	m.Begun = append(m.Begun, store.Begun{Site: m.Site, Number: sent + 2, Session: fmt.Sprintf("session-%d-%d", site, sent+1), Seal: "aa"},
		store.Begun{Site: m.Site, Number: sent + 3})
	return m
}

// ended returns the entries of a session that has ended, the same each time.
func ended(t *testing.T, id string, p trials.Plan) []trials.Entry {
	t.Helper()
	j, at := &memory{}, time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	s, err := trials.Begin(id, trials.Seat{}, p, trials.Seed{3}, j, func() time.Time { at = at.Add(time.Second); return at })
	if err != nil {
		t.Fatal(err)
	}
	for s.View().Phase != trials.Done {
		Answer(t, s)
	}
	return j.entries
}

// state is everything in a study that merging can change, except times and order.
func state(t *testing.T, s *store.Store) any {
	t.Helper()
	ctx := context.Background()
	sessions, err := s.Sessions(ctx)
	if err != nil {
		t.Fatal(err)
	}
	entries := map[string][]trials.Entry{}
	for i := range sessions {
		if sessions[i].Number != i+1 {
			t.Errorf("session number %d is in place %d: the numbers have a gap", sessions[i].Number, i+1)
		}
		sessions[i].Number = 0
		if entries[sessions[i].ID], err = s.Entries(ctx, sessions[i].ID); err != nil {
			t.Fatal(err)
		}
	}
	sort.Slice(sessions, func(i, k int) bool { return sessions[i].ID < sessions[k].ID })
	listeners, err := s.Listeners(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for i := range listeners {
		listeners[i].Added = time.Time{}
	}
	sort.Slice(listeners, func(i, k int) bool { return listeners[i].ID < listeners[k].ID })
	plans, err := s.Plans(ctx)
	if err != nil {
		t.Fatal(err)
	}
	sort.Slice(plans, func(i, k int) bool { return plans[i].ID < plans[k].ID })
	outcomes, err := s.Outcomes(ctx)
	if err != nil || len(outcomes) != len(sessions) {
		t.Fatalf("%d outcomes of %d sessions, error %v", len(outcomes), len(sessions), err)
	}
	begun, err := s.Begun(ctx)
	if err != nil || len(begun) < len(sessions) {
		t.Fatalf("%d begun of %d sessions, error %v", len(begun), len(sessions), err)
	}
	marks, err := s.Marks(ctx)
	if err != nil || len(marks) == 0 {
		t.Fatalf("%d sessions are marked, error %v", len(marks), err)
	}
	return []any{sessions, entries, listeners, plans, outcomes, begun, marks}
}

func sites(t *testing.T, n int) []store.Merge {
	t.Helper()
	var all []store.Merge
	for site := range n {
		all = append(all, bundle(t, site, 0), bundle(t, site, 1), bundle(t, site, 2))
	}
	return all
}

// The study is the same whatever the order of the bundles, and however often each comes.
func commutes(t *testing.T, b Backend) {
	var want any
	random := rand.New(rand.NewPCG(5, 6))
	for round := range 4 {
		all := sites(t, 3)
		if round > 0 {
			all = append(all, all...)
			random.Shuffle(len(all), func(i, k int) { all[i], all[k] = all[k], all[i] })
		}
		s := b.New(t, time.Now)
		for _, m := range all {
			if _, err := s.Merge(context.Background(), m); err != nil {
				t.Fatal(err)
			}
		}
		got := state(t, s)
		if want == nil {
			want = got
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("round %d: the order changed the study:\n%+v\n%+v", round, got, want)
		}
	}
	s, m := b.New(t, time.Now), bundle(t, 0, 1)
	if _, err := s.Merge(context.Background(), m); err != nil {
		t.Fatal(err)
	}
	before := state(t, s)
	m.Sessions[1].Entries[len(m.Sessions[1].Entries)-1].Hash = "another"
	m.Listeners[0].Hearing = "zzz"
	if _, err := s.Merge(context.Background(), m); !errors.Is(err, store.ErrExists) {
		t.Errorf("other entries of a known session: %v", err)
	}
	if !reflect.DeepEqual(state(t, s), before) {
		t.Error("a refused bundle left something behind")
	}
}

// Sites that send at the same moment, each over a connection of its own, leave the same study as if they had sent one after another.
func manyAtOnce(t *testing.T, b Backend) {
	ctx := context.Background()
	alone, shared := b.New(t, time.Now), b.New(t, time.Now)
	all := sites(t, 6)
	for _, m := range all {
		if _, err := alone.Merge(ctx, m); err != nil {
			t.Fatal(err)
		}
	}
	var wait sync.WaitGroup
	for w := range 6 {
		wait.Go(func() {
			s, err := b.Open(ctx, shared.Dir())
			if err != nil {
				t.Error(err)
				return
			}
			defer s.Close()
			for i := range all { // each sends everything, each beginning elsewhere
				if _, err := s.Merge(ctx, all[(i+3*w)%len(all)]); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wait.Wait()
	if got, want := state(t, shared), state(t, alone); !reflect.DeepEqual(got, want) {
		t.Errorf("at once:\n%+v\none by one:\n%+v", got, want)
	}
}
