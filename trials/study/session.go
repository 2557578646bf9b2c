package study

import (
	"context"
	"crypto/ecdh"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"

	"heardiff/playback"
	"heardiff/playback/pcm"
	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// SitOptions say who sits down to which plan.
type SitOptions struct {
	Plan, Listener string
	Again          bool // begin another session if this listener has finished this plan; both count
}

// Seat is a listener's place at a plan: at the session that is open, or at one that will be begun. Nobody else can take it until it
// is closed.
type Seat struct {
	Plan    trials.Plan
	study   *Study
	session *trials.Session // nil: to be begun
	options SitOptions
	release func() error
}

// Sit finds the listener's open session on the plan, or a place for a new one. A plan that the listener has finished is rejected,
// unless Again is set. The Seat must be closed.
func (s *Study) Sit(ctx context.Context, o SitOptions) (*Seat, error) {
	release, err := s.record.Lock(ctx, o.Listener)
	if errors.Is(err, store.ErrBusy) {
		return nil, Blamed(Failure, err, "finish or close the other one first")
	}
	if err != nil {
		return nil, err
	}
	plan, session, err := s.openSession(ctx, o)
	if err != nil {
		release()
		return nil, err
	}
	return &Seat{Plan: plan, study: s, session: session, options: o, release: release}, nil
}

// Close frees the place for others.
func (t *Seat) Close() error { return t.release() }

// Start begins the session, or resumes it, on the named device; silent says that the device makes no sound.
func (t *Seat) Start(ctx context.Context, device string, silent bool) (*trials.Session, error) {
	if t.session == nil {
		var err error
		if t.session, err = t.study.begin(ctx, t.Plan, t.options.Listener, device); err != nil {
			return nil, err
		}
	}
	if err := t.study.record.SetDevice(ctx, t.session.ID(), device); err != nil {
		return nil, err
	}
	return t.session, t.session.Sit(device, silent)
}

// Play opens an output for the prepared audio of the plan and sits the listener down. Nothing of a new session is kept before the output is
// open. says makes the text that the listener sees at the end.
func (t *Seat) Play(ctx context.Context, open func(playback.Source) (playback.Output, error), says func(*trials.Session) Closing) (*Booth, error) {
	set, err := t.study.audioOf(ctx, t.Plan)
	if err != nil {
		return nil, err
	}
	// One presentation after the other is read, so that a ladder of many doses takes no more memory than playing it does.
	switcher, err := playback.Read(playback.Config{}, len(set.files), func(i int) (pcm.Clip, error) { return set.read(ctx, i) })
	if err != nil {
		return nil, err
	}
	output, err := open(switcher)
	if err != nil {
		return nil, err
	}
	session, err := t.Start(ctx, deviceLine(output.Opened(), switcher.Rate()), output.Opened().Silent)
	if err != nil {
		return nil, errors.Join(err, output.Close())
	}
	b, err := newBooth(session, switcher, output, set, t.study.now, says(session), t.study.loopFile(session.ID()))
	if err != nil {
		return nil, errors.Join(err, output.Close())
	}
	return b, nil
}

// Simulate lets a computation work through the plan: sealed order, journal and record as for a person. ear is given three seconds of
// each presentation of a trial, in the order of the design's labels, and returns the index of one of the design's answers.
func (t *Seat) Simulate(ctx context.Context, ear func(sounds []pcm.Clip) int) error {
	set, err := t.study.audioOf(ctx, t.Plan)
	if err != nil {
		return err
	}
	clips, err := set.clips(ctx)
	if err != nil {
		return err
	}
	session, err := t.Start(ctx, "simulated", false)
	if err != nil {
		return err
	}
	for session.View().Phase == trials.Listening {
		answer, err := set.hear(session, clips, ear)
		if err != nil {
			return err
		}
		if err := session.Ask(answer, 0); err != nil {
			return err
		}
		if err := session.Confirm(); err != nil {
			return err
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// OwnRows returns what the study says of the listener of a session that has just ended, and how the study shares its risk; no rows where
// the study cannot be linked, so that a missing file does not cost a listener their closing screen.
func (s *Study) OwnRows(ctx context.Context, session string, r trials.Result) ([]link.Row, link.FamilySummary) {
	quiet := &Study{s.Readings, s.record, &Host{Now: s.Now, Getenv: s.Getenv}}
	l, err := quiet.Link(ctx)
	if err != nil {
		return nil, link.FamilySummary{}
	}
	for _, v := range l.Sessions {
		if v.ID == session {
			return l.Result.Of(v.Listener, r), l.Result.Family
		}
	}
	return nil, link.FamilySummary{}
}

// openSession returns the plan, and the session of the listener on it that is open, nil where a new one is to be begun. It
// rejects a plan that the listener has finished, unless it is to be worked through again.
func (s *Study) openSession(ctx context.Context, o SitOptions) (trials.Plan, *trials.Session, error) {
	plan, err := s.Plan(ctx, o.Plan)
	if err != nil {
		return plan, nil, InStudy(err)
	}
	if _, err := s.Listener(ctx, o.Listener); err != nil {
		return plan, nil, InStudy(err)
	}
	all, err := s.Sessions(ctx)
	if err != nil {
		return plan, nil, err
	}
	finished := ""
	for _, v := range all {
		if v.Plan != o.Plan || v.Listener != o.Listener {
			continue
		}
		session, err := s.resume(ctx, plan, v)
		if errors.Is(err, ErrRevealed) {
			if !o.Again {
				return plan, nil, advised(Rejection, err, phrasef("it stays, and every result names it; %v begins another session", OptionAgain))
			}
			continue
		}
		if err != nil || session != nil {
			return plan, session, err
		}
		finished = v.ID
	}
	if training := plan.Threshold != nil && plan.Threshold.Training; finished != "" && !o.Again && !training {
		return plan, nil, advised(Rejection, fmt.Errorf("listener %q has finished plan %q in session %s", o.Listener, o.Plan, finished),
			phrasef("see %v; %v begins another session, and both stay and count", call(ToReadResults), OptionAgain))
	}
	return plan, nil, nil
}

// resume resumes a stored session, or returns nil if it has ended.
func (s *Study) resume(ctx context.Context, plan trials.Plan, v Session) (*trials.Session, error) {
	entries, err := s.Entries(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	if len(entries) > 0 && entries[len(entries)-1].Kind == trials.EntryEnd {
		return nil, nil
	}
	journal, remark, err := s.seat(ctx, v.ID, entries)
	if err != nil {
		return nil, err
	}
	key, err := s.sealKey()
	if err != nil {
		return nil, err
	}
	seed, err := key.Open(v.Sealed, v.ID)
	if err != nil {
		return nil, Rejected(fmt.Errorf("session %s cannot be resumed here: %w", v.ID, err),
			"resume it on the machine where it began, or bring its key (HEARDIFF_KEYS)")
	}
	if len(entries) == 0 { // killed after the session's row was written, but before its first entry
		of, err := s.Study(ctx)
		if err != nil {
			return nil, err
		}
		return trials.Begin(v.ID, trials.NewSeat(of.ID, v.Listener, v.Device), plan, seed, journal, s.now)
	}
	session, err := trials.Resume(plan, seed, entries, journal, s.now)
	if err != nil {
		return nil, advised(Rejection, fmt.Errorf("session %s: %w", v.ID, err), verifyHint())
	}
	if session.View().Phase == trials.Done || session.View().Phase == trials.GivenUp {
		return nil, session.Finish() // killed between the last answer and the entry that ends the session
	}
	if remark != "" {
		return session, session.Flag(remark)
	}
	return session, nil
}

// begin draws the order of a new session and seals it, together with the listener and the device.
func (s *Study) begin(ctx context.Context, plan trials.Plan, listener, device string) (*trials.Session, error) {
	var seed trials.Seed
	var id [8]byte
	if _, err := rand.Read(seed[:]); err != nil {
		return nil, fmt.Errorf("draw the order: %w", err)
	}
	if _, err := rand.Read(id[:]); err != nil {
		return nil, fmt.Errorf("make an id: %w", err)
	}
	key, err := s.sealKey()
	if err != nil {
		return nil, err
	}
	site, err := s.siteKey()
	if err != nil {
		return nil, err
	}
	of, err := s.Study(ctx)
	if err != nil {
		return nil, err
	}
	own := bundle.SessionSuffix(site.Public().(ed25519.PublicKey))
	v := Session{ID: hex.EncodeToString(id[:]) + own, Plan: plan.ID, Listener: listener, Device: device}
	if v.Sealed, err = key.Seal(seed, v.ID); err != nil {
		return nil, err
	}
	if v.Escrow, err = escrow(of, seed, v.ID); err != nil {
		return nil, err
	}
	journal, _, err := s.seat(ctx, v.ID, nil)
	if err != nil {
		return nil, err
	}
	if err := s.record.AddSession(ctx, v); err != nil {
		return nil, InStudy(err)
	}
	return trials.Begin(v.ID, trials.NewSeat(of.ID, listener, device), plan, seed, journal, s.now)
}

// escrow seals the seed to the site that made the kit; nil if the study is not a kit.
func escrow(of store.Study, seed trials.Seed, session string) ([]byte, error) {
	if len(of.OriginKey) == 0 {
		return nil, nil
	}
	site, err := ecdh.X25519().NewPublicKey(of.OriginKey)
	if err != nil {
		return nil, fmt.Errorf("the kit's sealing key: %w", err)
	}
	return trials.SealTo(site, seed, session)
}
