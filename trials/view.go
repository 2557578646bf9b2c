package trials

import "time"

// View is all that a screen may show of a session. It is the same for every hidden assignment.
type View struct {
	Session string
	Design  Design
	Phase   Phase
	// Trial is the number of the current trial, from 1; Trials is their total, replacements of void ones included; in a threshold
	// run the largest possible total.
	Trial, Trials int
	// Explained says what the question means where B is a dose, "" elsewhere.
	Explained string
	// Practice marks a trial with feedback that does not count.
	Practice bool
	// Heard holds the labels that have been heard in this trial.
	Heard map[Label]bool
	// Ready reports whether an answer would be accepted.
	Ready bool
	// Hurried reports that an answer confirmed now would be marked as hurried.
	Hurried bool
	// Pending and Confidence are the answer to be confirmed.
	Pending    Answer
	Confidence int
	Voids      int
	Switches   int
	// RestDue reports that the listener has worked as long as the plan allows without a rest. RestIn is the time until a rest
	// is due, 0 or less once it is, and 0 in plans without rests; Rested is how long the current rest has lasted.
	RestDue        bool
	RestIn, Rested time.Duration
	// Answered counts the trials whose answers are on disk, practice included.
	Answered int
	// Worked is the time spent in all sittings, without rests. Remaining estimates the time for the remaining trials from the
	// mean pace of the latest ones, 0 while too few are answered. MayEndEarly says that the session may end before the last
	// trial: at a look, or at the precision that a threshold run asks for.
	Worked, Remaining time.Duration
	MayEndEarly       bool
	// Feedback is for the practice trial before this one; nil otherwise.
	Feedback *Feedback
	// Elapsed is the time since this trial was first offered.
	Elapsed time.Duration
}

// Feedback says whether a practice trial was answered right.
type Feedback struct {
	Answer Answer
	Right  bool
}

// View returns what may be shown now.
func (s *Session) View() View {
	pressed, now := s.timed(Entry{}), s.now()
	v := View{
		Session: s.id, Design: s.plan.Design, Phase: s.phase,
		Trial: s.current + 1, Trials: s.maxTrials(),
		Heard: map[Label]bool{}, Ready: s.heardEnough(), Hurried: s.plan.hurried(pressed),
		Pending: s.pending.Answer, Confidence: s.pending.Confidence,
		Voids: s.voids, Switches: s.switches, Feedback: s.feedback,
		Elapsed:  now.Sub(s.begun),
		Answered: len(s.answers), Worked: s.pace.workedBy(now), Remaining: s.pace.remaining(s.maxTrials() - s.current),
		MayEndEarly: s.plan.Looks != nil || s.climb != nil,
	}
	if s.climb != nil {
		v.Explained = s.plan.Design.OfDoses()
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
		v.Trial = s.maxTrials()
	}
	if rest := s.plan.restAfter(); rest > 0 {
		v.RestIn = rest - s.now().Sub(s.rested)
		v.RestDue = v.RestIn <= 0
	}
	return v
}

// feedbackOn reports whether the answer to a trial gets feedback: in practice, and throughout a training.
func (s *Session) feedbackOn(t trial) bool {
	return s.plan.Comparisons[t.comparison].Kind == Practice || s.plan.Threshold != nil && s.plan.Threshold.Training
}

// maxTrials is the number of trials or, during a threshold run, the largest possible one: it reveals nothing about answers.
func (s *Session) maxTrials() int {
	if s.climb == nil || s.phase == Done {
		return len(s.trials)
	}
	return s.plan.Trials() + s.voids
}

// practiceFeedback returns the feedback on an answered practice trial, nil for other trials.
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

// Commitment returns the commitment to the session's order, to be shown before the first trial.
func (s *Session) Commitment() [32]byte { return s.seed.Commitment(s.id, s.seat, s.plan) }
