package study

import (
	"context"

	"heardiff/trials"
)

// CheckListener refuses a listener who could not be added to any study.
func CheckListener(l Listener) error {
	if err := CheckName("listener", l.ID); err != nil {
		return err
	}
	for _, of := range []struct {
		option Option
		text   string
	}{{OptionHearing, l.Hearing}, {OptionTransducer, l.Transducer}, {OptionRoom, l.Room}, {OptionConsent, l.Consent}} {
		if err := checkText(of.option, of.text); err != nil {
			return err
		}
	}
	if l.Group == "" {
		return nil
	}
	return ofOption(OptionGroup, trials.CheckName(string(OptionGroup), l.Group))
}

// AddListener adds a listener under a pseudonym.
func (s *Study) AddListener(ctx context.Context, l Listener) error {
	if err := CheckListener(l); err != nil {
		return err
	}
	if err := s.record.AddListener(ctx, l); err != nil {
		return InStudy(err)
	}
	if f, fixed, err := s.StudyFamily(ctx); err == nil && fixed && !l.Simulated {
		s.warn("the study has begun, planned for %s: those added later share a small part of its alpha, and are found only if they hear the difference well", trials.Counted(f.Listeners, "listener"))
	}
	return nil
}

// Forget removes all that listeners said about themselves; pseudonym and answers stay.
func (s *Study) Forget(ctx context.Context, listener string) (Forgotten, error) {
	if err := s.record.ForgetListener(ctx, listener); err != nil {
		return Forgotten{}, InStudy(err)
	}
	return s.wordsLeft(ctx, listener)
}

// Forgotten names what forgetting a listener could not remove.
type Forgotten struct {
	Listener string           `json:"listener"`
	Remains  []wordsInSession `json:"remains"`
}

// wordsInSession counts the entries of a session that hold words of the listener: reasons of void trials and for giving up. Each is an
// entry of the session's chain, so that none can be removed without breaking the proof of the answers.
type wordsInSession struct {
	Session string `json:"session"`
	Remarks int    `json:"remarks"`
}

// wordsLeft looks for a listener's words in the record of their sessions.
func (s *Study) wordsLeft(ctx context.Context, listener string) (Forgotten, error) {
	f := Forgotten{Listener: listener, Remains: []wordsInSession{}}
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return f, err
	}
	for _, v := range sessions {
		if v.Listener != listener {
			continue
		}
		entries, err := s.Entries(ctx, v.ID)
		if err != nil {
			return f, err
		}
		words := wordsInSession{Session: v.ID}
		for _, e := range entries {
			if (e.Kind == trials.EntryVoid || e.Kind == trials.EntryGiveUp) && e.Note != "" && e.Note != trials.Withheld {
				words.Remarks++
			}
		}
		if words.Remarks > 0 {
			f.Remains = append(f.Remains, words)
		}
	}
	return f, nil
}
