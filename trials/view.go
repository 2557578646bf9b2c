package trials

import "time"

// View is all that a screen may show of a session. It is the same for every hidden assignment.
type View struct {
	Session string
	Design  Design
	Phase   Phase
	// Trial counts from 1 among the trials shown; Trials is how many there are, replacements of void ones included; of a threshold run the
	// most there can be.
	Trial, Trials int
	// Practice marks a trial with feedback that does not count.
	Practice bool
	// Heard holds the labels that have been heard in this trial.
	Heard map[Label]bool
	// Ready reports whether an answer would be taken.
	Ready bool
	// Hurried reports that the answer would be marked as hurried, were it confirmed now.
	Hurried bool
	// Pending and Confidence are the answer that waits to be confirmed.
	Pending    Answer
	Confidence int
	Voids      int
	Switches   int
	// RestDue reports that the listener has worked as long as the plan allows without a rest. RestIn is how long they may
	// still, 0 or less where it is due, and where the plan knows no rests; Rested is how long a rest has lasted.
	RestDue        bool
	RestIn, Rested time.Duration
	// Answered counts the trials whose answers are on disk, practice included.
	Answered int
	// Worked is the time spent in all sittings, without rests; Left what the trials that remain take at the mean pace of the newest
	// ones, 0 while too few are answered to tell. MayEndEarly says that the plan has looks, at which it may stop, or ends at a precision.
	Worked, Left time.Duration
	MayEndEarly  bool
	// Feedback is of the practice trial before this one; nil otherwise.
	Feedback *Feedback
	// Elapsed is the time since this trial was first offered.
	Elapsed time.Duration
}

// Feedback tells how a practice trial went.
type Feedback struct {
	Answer Answer
	Right  bool
}

// View returns what may be shown now.
func (s *Session) View() View {
	pressed, now := s.timed(Entry{}), s.now()
	v := View{
		Session: s.id, Design: s.plan.Design, Phase: s.phase,
		Trial: s.current + 1, Trials: s.most(),
		Heard: map[Label]bool{}, Ready: s.heardEnough(), Hurried: s.plan.hurried(pressed),
		Pending: s.pending.Answer, Confidence: s.pending.Confidence,
		Voids: s.voids, Switches: s.switches, Feedback: s.feedback,
		Elapsed:  now.Sub(s.begun),
		Answered: len(s.answers), Worked: s.pace.workedBy(now), Left: s.pace.left(s.most() - s.current),
		MayEndEarly: s.plan.Looks != nil || s.climb != nil,
	}
	if s.phase == Resting {
		v.Rested = now.Sub(s.resting)
	}
	for l, frames := range s.heard {
		v.Heard[l] = frames > 0
	}
	if s.current < len(s.trials) {
		v.Practice = s.feedbackOn(s.trials[s.current])
	} else {
		v.Trial = s.most()
	}
	if rest := s.plan.restAfter(); rest > 0 {
		v.RestIn = rest - s.now().Sub(s.rested)
		v.RestDue = v.RestIn <= 0
	}
	return v
}

// feedbackOn reports whether the answer to a trial is followed by how it went: in practice, and all through a training.
func (s *Session) feedbackOn(t trial) bool {
	return s.plan.Comparisons[t.comparison].Kind == Practice || s.plan.Threshold != nil && s.plan.Threshold.Training
}

// most is how many trials there are, or, while a threshold run goes on, can be at the most: it tells nothing of the answers.
func (s *Session) most() int {
	if s.climb == nil || s.phase == Done {
		return len(s.trials)
	}
	return s.plan.Trials() + s.voids
}

// practiceFeedback returns how the answered trial went if it was practice, else nil.
func (s *Session) practiceFeedback(e Entry) *Feedback {
	t := s.trials[e.Trial-1]
	if !s.feedbackOn(t) {
		return nil
	}
	return &Feedback{Answer: e.Answer, Right: e.Answer == t.right()}
}

// Plan returns the session's plan.
func (s *Session) Plan() Plan { return s.plan }

// ID returns the session's id.
func (s *Session) ID() string { return s.id }

// Commitment returns the seal of the session's order, to be shown before the first trial.
func (s *Session) Commitment() [32]byte { return s.seed.Commitment(s.id, s.seat, s.plan) }
