package trials

import (
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"time"
)

// Phase is the state of a session.
type Phase uint8

// The phases.
const (
	Listening Phase = iota // a trial is offered
	Asked                  // an answer was given but not confirmed
	Resting
	Done    // every trial has its answer
	GivenUp // ended early by the listener
)

// Session is one listener working through one plan. It is not safe for concurrent use.
type Session struct {
	id      string
	seat    *Seat
	plan    Plan
	seed    Seed
	journal Journal
	now     func() time.Time

	trials  []trial // as dealt, replacements appended; of a threshold run those dealt so far
	climb   *climb  // nil where the plan is no threshold run
	current int
	answers map[int]Entry // confirmed answers by trial index
	voids   int
	scored  int // scored trials answered, and correct ones among them: for the looks of a sequential plan
	correct int
	stopped Stop // by a look; "" while none has
	last    Entry
	phase   Phase
	opened  bool
	pace    pace

	begun    time.Time // of the current trial
	rested   time.Time // end of the last rest, or the start
	resting  time.Time // start of the last rest
	heard    map[Label]int
	ran      int64 // frames of the sample clock in this trial
	rateHz   int   // rate of the sample clock, 0 where none runs
	switches int
	pending  Entry
	feedback *Feedback
}

// Cue says what must be played. It is for playback only: it prints as a fixed text.
type Cue struct {
	comparison int
	source     Source
}

// String returns a fixed text.
func (Cue) String() string { return "(hidden)" }

// GoString is String, for %#v.
func (Cue) GoString() string { return "(hidden)" }

// Format writes String whatever the verb, numeric ones included.
func (Cue) Format(f fmt.State, _ rune) { fmt.Fprint(f, "(hidden)") }

// MarshalText writes String.
func (Cue) MarshalText() ([]byte, error) { return []byte("(hidden)"), nil }

// Comparison returns the index of the comparison in the plan.
func (c Cue) Comparison() int { return c.comparison }

// Source returns which of the comparison's two presentations sounds.
func (c Cue) Source() Source { return c.source }

// Begin starts a session and writes its first entry, with the seat and the seed's commitment, to the journal.
func Begin(id string, seat Seat, p Plan, seed Seed, journal Journal, now func() time.Time) (*Session, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	s := newSession(id, p, seed, journal, now)
	first := Entry{Kind: EntryBegin}
	if seat != (Seat{}) {
		first.Seat = &seat
	}
	commitment := seed.Commitment(id, first.Seat, p)
	first.Note = hex.EncodeToString(commitment[:])
	if err := s.append(first); err != nil {
		return nil, err
	}
	return s, nil
}

// Resume continues a session where its entries end: at the same trial, with the same assignment. It is an error if the
// entries were changed, or do not belong to this seed and plan.
func Resume(p Plan, seed Seed, entries []Entry, journal Journal, now func() time.Time) (*Session, error) {
	if err := checkBegin(p, seed, entries); err != nil {
		return nil, err
	}
	s := newSession(entries[0].Session, p, seed, journal, now)
	for _, e := range entries {
		if err := s.apply(e); err != nil {
			return nil, fmt.Errorf("entry %d: %w", e.Number, err)
		}
	}
	s.pace.since = time.Time{} // nobody is listening until it is opened
	return s, nil
}

func checkBegin(p Plan, seed Seed, entries []Entry) error {
	if err := p.Validate(); err != nil {
		return err
	}
	if len(entries) == 0 || entries[0].Kind != EntryBegin {
		return errors.New("the journal does not begin with its seal")
	}
	if err := CheckChain(entries); err != nil {
		return err
	}
	commitment := seed.Commitment(entries[0].Session, entries[0].Seat, p)
	if !entries[0].Seat.intact() {
		return errors.New("the device of the first entry is not the one that the seal covers")
	}
	if entries[0].Note != hex.EncodeToString(commitment[:]) {
		return errors.New("the seed and the plan do not agree with the seal of the first entry")
	}
	return nil
}

func newSession(id string, p Plan, seed Seed, journal Journal, now func() time.Time) *Session {
	s := &Session{
		id: id, plan: p, seed: seed, journal: journal, now: now,
		trials:  deal(p, seed),
		climb:   newClimb(p, seed),
		answers: map[int]Entry{},
		rested:  now(),
	}
	s.offer(0)
	return s
}

// offer makes trial i the current one.
func (s *Session) offer(i int) {
	s.current, s.begun, s.switches, s.pending = i, s.now(), 0, Entry{}
	s.heard, s.ran = map[Label]int{}, 0
	s.phase = Listening
	if i >= len(s.trials) && s.climb != nil {
		if next, ok := s.climb.next(); ok {
			s.trials = append(s.trials, next)
		}
	}
	if i >= len(s.trials) || s.stopped != "" {
		s.phase = Done
	}
}

// append fills in the entry, makes it durable and applies it.
func (s *Session) append(e Entry) error {
	e.Session, e.Number, e.At, e.Previous = s.id, s.last.Number+1, s.now().UTC(), s.last.Hash
	e.Hash = e.Digest()
	if err := s.journal.Append(e); err != nil {
		return fmt.Errorf("keep the entry: %w", err)
	}
	return s.apply(e)
}

// apply updates the state by an entry, new or replayed.
func (s *Session) apply(e Entry) error {
	if s.last.Kind == EntryEnd || s.phase == GivenUp && e.Kind != EntryEnd {
		return errors.New("follows the end of the session")
	}
	if e.Kind == EntryEnd && !s.ended() {
		return errors.New("ends a session that still has trials")
	}
	s.last = e
	s.pace.take(e)
	switch e.Kind {
	case EntryBegin:
		s.seat = e.Seat
	case EntryFlag:
	case EntryOpen:
		s.opened, s.rested = true, s.now()
		if s.phase == Resting {
			s.phase = Listening
		}
	case EntryRest:
		s.phase, s.pending, s.resting = Resting, Entry{}, e.At
	case EntryAnswer, EntryVoid:
		return s.applyTrial(e)
	case EntryGiveUp:
		s.phase = GivenUp
	case EntryEnd:
	default:
		return fmt.Errorf("kind %q unknown", e.Kind)
	}
	return nil
}

func (s *Session) applyTrial(e Entry) error {
	if e.Trial != s.current+1 || s.current >= len(s.trials) {
		return fmt.Errorf("for trial %d, but trial %d is due", e.Trial, s.current+1)
	}
	if e.Kind == EntryAnswer && s.plan.Design.index(e.Answer) < 0 {
		return fmt.Errorf("answer %q is not of the %s design", e.Answer, s.plan.Design)
	}
	if e.Kind == EntryVoid {
		s.replace(s.trials[s.current].comparison)
		s.feedback = nil
	} else {
		s.answers[s.current] = e
		s.feedback = s.practiceFeedback(e)
		s.count(s.trials[s.current], e)
		s.took(s.trials[s.current], e)
	}
	s.offer(s.current + 1)
	return nil
}

// took passes an answer on to the threshold run.
func (s *Session) took(t trial, e Entry) {
	if s.climb == nil || s.plan.Comparisons[t.comparison].Kind == Practice {
		return
	}
	s.climb.answered(t.comparison, e.Answer == t.right())
}

// replace adds a trial for a void one: practice at the end of practice, all others at the very end. A threshold run goes on as
// if the void trial had not been asked.
func (s *Session) replace(comparison int) {
	if s.climb != nil && s.plan.Comparisons[comparison].Kind != Practice {
		s.voids++
		return
	}
	t := replacement(s.plan, s.seed, comparison, s.voids)
	s.voids++
	at := len(s.trials)
	if s.plan.Comparisons[comparison].Kind == Practice {
		at = s.current + 1
		for at < len(s.trials) && s.plan.Comparisons[s.trials[at].comparison].Kind == Practice {
			at++
		}
	}
	s.trials = slices.Insert(s.trials, at, t)
}

// count adds a scored answer to the running count, and stops a sequential session at the plan's looks.
func (s *Session) count(t trial, e Entry) {
	if s.plan.Comparisons[t.comparison].Kind != Scored {
		return
	}
	s.scored++
	if e.Answer == t.right() {
		s.correct++
	}
	s.stopped = s.plan.Stop(s.scored, s.correct)
}

// Sit records the start of a sitting, the first one and after each break. silent says that the device makes no sound, so that
// the answers are not by hearing.
func (s *Session) Sit(device string, silent bool) error {
	if s.ended() {
		return fmt.Errorf("%w: the session has ended", ErrNotNow)
	}
	return s.append(Entry{Kind: EntryOpen, Device: device, Silent: silent})
}

// Open records that the listener continues after a rest in the same sitting.
func (s *Session) Open(note string) error {
	if s.ended() {
		return fmt.Errorf("%w: the session has ended", ErrNotNow)
	}
	return s.append(Entry{Kind: EntryOpen, Note: note})
}

func (s *Session) ended() bool { return s.phase == Done || s.phase == GivenUp }

// Route returns what sounds under a label of the current trial, for playback only. It is an error if the design does not
// have the label, or no trial is due.
func (s *Session) Route(l Label) (Cue, error) {
	if s.ended() {
		return Cue{}, fmt.Errorf("%w: no trial is due", ErrNotNow)
	}
	t := s.trials[s.current]
	source, ok := s.plan.Design.sound(t.hidden, l)
	if !ok {
		return Cue{}, fmt.Errorf("label %q is not of the %s design", l, s.plan.Design)
	}
	return Cue{comparison: t.comparison, source: source}, nil
}

// Switched counts a key press that chose what to hear.
func (s *Session) Switched() { s.switches++ }

// Heard adds frames heard under a label in the current trial.
func (s *Session) Heard(l Label, frames int) {
	if s.phase == Listening || s.phase == Asked {
		s.heard[l] += frames
	}
}

// Ran adds frames that the device took in the current trial, at rateHz frames per second: the clock that times a trial.
func (s *Session) Ran(frames int64, rateHz int) {
	if s.rateHz = rateHz; s.phase == Listening || s.phase == Asked {
		s.ran += frames
	}
}

// heardEnough reports whether everything that the design requires was heard, however briefly.
func (s *Session) heardEnough() bool { return s.plan.Design.heardFor(s.sounded(), 1) }

// sounded returns the frames heard under each label of the current trial, in the order of the design.
func (s *Session) sounded() []int64 {
	var all []int64
	for _, l := range s.plan.Design.Labels() {
		all = append(all, int64(s.heard[l]))
	}
	return all
}

// timed adds the clocks and key counts of the current trial to an entry.
func (s *Session) timed(e Entry) Entry {
	e.Seconds, e.Switches = s.now().Sub(s.begun).Seconds(), s.switches
	if s.rateHz > 0 {
		e.Heard, e.Frames, e.RateHz = s.sounded(), s.ran, s.rateHz
	}
	return e
}

// Ask gives an answer, to be confirmed later; confidence is 1 to 4, or 0 if not given.
// It returns ErrNotHeard, ErrNotNow, or an error for an answer that the design does not have.
func (s *Session) Ask(a Answer, confidence int) error {
	d := s.plan.Design
	switch {
	case s.phase != Listening && s.phase != Asked:
		return fmt.Errorf("%w: no trial is open", ErrNotNow)
	case d.index(a) < 0:
		return fmt.Errorf("answer %q is not of the %s design: %s", a, d, AnyOf(d.AnswerNames()))
	case confidence < 0 || confidence > MaxConfidence:
		return fmt.Errorf("confidence %d: 1 to %d", confidence, MaxConfidence)
	case !s.heardEnough():
		return fmt.Errorf("%w: %s", ErrNotHeard, d.of.mustHear)
	}
	s.phase = Asked
	s.pending = Entry{Kind: EntryAnswer, Trial: s.current + 1, Answer: a, Confidence: confidence}
	return nil
}

// TakeBack withdraws an answer that was not confirmed.
func (s *Session) TakeBack() error {
	if s.phase != Asked {
		return fmt.Errorf("%w: no answer waits to be confirmed", ErrNotNow)
	}
	s.phase, s.pending = Listening, Entry{}
	return nil
}

// Confirm makes the answer durable and moves on to the next trial; after the last it reveals the seed.
func (s *Session) Confirm() error {
	if s.phase != Asked {
		return fmt.Errorf("%w: no answer waits to be confirmed", ErrNotNow)
	}
	if err := s.append(s.timed(s.pending)); err != nil {
		return err
	}
	return s.Finish()
}

// Finish writes the last entry once every trial has its answer: after a crash, of a session whose last answer was stored and its end was not.
func (s *Session) Finish() error {
	if !s.ended() || s.last.Kind == EntryEnd {
		return nil
	}
	return s.append(Entry{Kind: EntryEnd, Note: hex.EncodeToString(s.seed[:])})
}

// Void discards the current trial for the reason given, before its answer is confirmed. A newly dealt replacement is added
// at the end.
func (s *Session) Void(reason string) error {
	if s.phase != Listening && s.phase != Asked {
		return fmt.Errorf("%w: no trial is open", ErrNotNow)
	}
	if reason == "" {
		return errors.New("a reason is needed to void a trial")
	}
	if err := CheckText("reason", reason); err != nil {
		return err
	}
	return s.append(s.timed(Entry{Kind: EntryVoid, Trial: s.current + 1, Note: reason}))
}

// Flag records something that happened during the current trial, such as an underrun; the trial goes on.
func (s *Session) Flag(note string) error {
	return s.append(Entry{Kind: EntryFlag, Trial: s.current + 1, Note: note})
}

// Rest pauses the session; Open ends the rest.
func (s *Session) Rest() error {
	if s.phase != Listening && s.phase != Asked {
		return fmt.Errorf("%w: no trial is open", ErrNotNow)
	}
	return s.append(Entry{Kind: EntryRest, Trial: s.current + 1})
}

// GiveUp ends the session early and reveals the seed. The session stays in the study, and its result counts as given up.
func (s *Session) GiveUp(reason string) error {
	if s.ended() {
		return fmt.Errorf("%w: the session has ended", ErrNotNow)
	}
	if err := s.append(Entry{Kind: EntryGiveUp, Note: reason}); err != nil {
		return err
	}
	return s.append(Entry{Kind: EntryEnd, Note: hex.EncodeToString(s.seed[:])})
}
