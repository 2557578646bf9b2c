package storetest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/store"
)

// childWork tells the process that is killed to do everything that is recorded, not only to answer.
const childWork = "HEARDIFF_TEST_CHILD_WORK"

// workForEver does one thing after another that goes into a study's record, and reports each as kept.
func workForEver(dir string, open func(ctx context.Context, dir string) (*store.Store, error)) error {
	ctx := context.Background()
	s, err := open(ctx, dir)
	if err != nil {
		return err
	}
	random := rand.New(rand.NewPCG(uint64(os.Getpid()), uint64(time.Now().UnixNano())))
	for n := 0; ; n++ {
		w := worker{s, fmt.Sprintf("w%x", random.Uint64())}
		if err := w.does(ctx, random.IntN(6)); err != nil {
			return err
		}
		head, err := s.Head(ctx)
		if err != nil {
			return err
		}
		fmt.Println("kept", head.Entries)
	}
}

// worker adds things that bear its name.
type worker struct {
	*store.Store
	name string
}

func (w worker) does(ctx context.Context, what int) error {
	switch what {
	case 0:
		return w.measures(ctx)
	case 1:
		return w.SaveExcerpt(ctx, store.Excerpt{Name: w.name, Music: "suite", RateHz: 48000, Result: []byte("{}"), Presentations: []store.Presentation{
			{Chain: "left", Path: w.name + "/a", SHA256: w.name + "a", Result: []byte("{}")}, {Chain: "left", Treatment: "level", Path: w.name + "/b", SHA256: w.name + "b", Result: []byte("{}")}}})
	case 2:
		return errors.Join(w.AddListener(ctx, store.Listener{ID: w.name, Hearing: "said " + w.name}), w.ForgetListener(ctx, w.name))
	case 3:
		p := Plan(2)
		p.ID = w.name
		return w.AddPlan(ctx, p)
	case 4:
		return w.listens(ctx)
	}
	return w.merges(ctx)
}

func (w worker) measures(ctx context.Context) error {
	c, err := w.AddCapture(ctx, store.Capture{Chain: "left", Kind: "jitter", Path: w.name, SHA256: w.name, RateHz: 48000})
	if err != nil {
		return err
	}
	value := float64(c.ID)
	return errors.Join(w.SaveMeasurement(ctx, store.Measurement{Capture: c.ID, Kind: "jitter", Result: []byte(`{"a":1}`)}),
		w.Enter(ctx, []store.Entered{{Chain: "left", Metric: "noise", Value: &value, Unit: "dB"}, {Chain: "left", Metric: w.name, Value: &value, Unit: "dB"}}))
}

// listens runs a session from its beginning to its end.
func (w worker) listens(ctx context.Context) error {
	if err := w.AddSession(ctx, store.Session{ID: w.name, Plan: "1", Listener: "L1", Sealed: []byte{1}}); err != nil {
		return err
	}
	of, err := w.Study(ctx)
	if err != nil {
		return err
	}
	session, err := trials.Begin(w.name, trials.NewSeat(of.ID, "L1", "null"), Plan(2), trials.Seed{4}, w.Journal(ctx), time.Now)
	if err != nil {
		return err
	}
	return errors.Join(session.Sit("null", true), answerAll(session))
}

func answerAll(s *trials.Session) error {
	for s.View().Phase == trials.Listening {
		s.Heard(trials.LabelX, 1)
		s.Heard(trials.LabelA, 1)
		if err := errors.Join(s.Ask(trials.AnswerA, 0), s.Confirm()); err != nil {
			return err
		}
	}
	return nil
}

func (w worker) merges(ctx context.Context) error {
	j := &memory{}
	session, err := trials.Begin(w.name, trials.Seat{}, Plan(2), trials.Seed{4}, j, time.Now)
	if err != nil {
		return err
	}
	if err := answerAll(session); err != nil {
		return err
	}
	r, err := trials.Reveal(Plan(2), j.entries)
	if err != nil {
		return err
	}
	outcome, who := r.Summary(), w.name+"@site"
	_, err = w.Merge(ctx, store.Merge{Bundle: w.name, Site: "site", Plans: []trials.Plan{Plan(2)}, Listeners: []store.Listener{{ID: who, Hearing: "good"}},
		Sessions: []store.MergeSession{{ID: w.name, Listener: who, PlanHash: Plan(2).HashText(), Entries: j.entries, Outcome: &outcome}}})
	return err
}

// A process is killed at random moments while it does everything that is recorded: each time the record must hold all that was
// acknowledged, its chain must be unbroken, and every row must be what the record says.
func recordSurvivesKill(t *testing.T, b Backend) {
	ctx, s := context.Background(), b.New(t, time.Now)
	check(t, s.AddChain(ctx, store.Chain{Name: "left", Role: "source"}))
	check(t, s.AddPlan(ctx, Plan(2)))
	check(t, s.AddListener(ctx, store.Listener{ID: "L1"}))
	check(t, s.Close())
	random := rand.New(rand.NewPCG(3, 4))
	most := 0
	for round := range b.Kills {
		kept := killChild(t, s.Dir(), time.Duration(30+random.IntN(270))*time.Millisecond, childWork+"=1")
		after, err := b.Open(ctx, s.Dir())
		check(t, err)
		head, err := after.Head(ctx)
		check(t, err)
		if head.Entries < kept {
			t.Errorf("round %d: %d entries acknowledged, %d kept", round, kept, head.Entries)
		}
		if found := faults(t, after); len(found) > 0 {
			t.Fatalf("round %d: %q", round, found)
		}
		most = max(most, kept)
		check(t, after.Close())
	}
	t.Logf("%d kills, %d entries", b.Kills, most)
	if most < 3*b.Kills {
		t.Errorf("only %d entries were written before the kills: the test tests nothing", most)
	}
}
