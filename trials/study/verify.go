package study

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// Verify proves that nothing in the study was changed, or names what was; given a head that was written down elsewhere, also that the head
// belongs to this study. The findings are the Problems.
func (s *Study) Verify(ctx context.Context, head string) (VerifyReport, error) {
	r, err := s.verify(ctx)
	if err == nil {
		err = r.match(ctx, s, head)
	}
	return r, err
}

// match looks for a head that was written down elsewhere: among the entries of the record, and the heads of sessions.
func (r *VerifyReport) match(ctx context.Context, s *Study, head string) error {
	if head == "" {
		return nil
	}
	e, err := s.record.FindHead(ctx, head)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return misusedf("%v: %v", OptionHead, err)
	}
	if err == nil {
		r.Given = fmt.Sprintf("the head given is entry %d of the record, of %s: all up to it is as it was then", e.Number, e.At)
		return nil
	}
	for _, v := range r.Sessions {
		if same, err := trials.IsHead(v.Head, head); same || err != nil {
			r.Given = fmt.Sprintf("the head given is the last entry of session %s: it is as it was then", v.Session)
			return err
		}
	}
	r.Problems, r.OK = append(r.Problems, "the head given is in neither the record nor a session: this is not the study that it was written down of, or it was made anew"), false
	return nil
}

// VerifyReport is what was proved, and what was not.
type VerifyReport struct {
	Schema   string            `json:"schema"`
	OK       bool              `json:"ok"`
	Files    int               `json:"files"`
	Sessions []VerifiedSession `json:"sessions"`
	Problems []string          `json:"problems"`
	Absences
	// Record is the newest entry of the study's record.
	Record Head `json:"record"`
	// Unknown says what cannot be known from the study alone.
	Unknown string `json:"unknown"`
	// Given says which entry has the given head; "" if no head was given, or none has it.
	Given string `json:"given,omitempty"`
}

// VerifiedSession is what was proved of one session.
type VerifiedSession struct {
	Session    string `json:"session"`
	Plan       string `json:"plan"`
	State      string `json:"state"` // running, or ended
	Entries    int    `json:"entries"`
	Commitment string `json:"commitment"`
	Head       string `json:"head"`
	// Problem is the first of the Problems.
	Problem  string   `json:"problem,omitempty"`
	Problems []string `json:"problems,omitempty"`
	// Marks say what the ledger of this account knows against the session's blindness; those that void it are also problems.
	Marks []link.Mark `json:"marks,omitempty"`
	// Remarks are the marks that are no problem of this study.
	Remarks []link.Mark `json:"-"`
}

func (s *Study) verify(ctx context.Context) (VerifyReport, error) {
	r := VerifyReport{Schema: "heardiff.verify/1"}
	amiss, err := s.record.Check(ctx)
	if err != nil {
		return r, err
	}
	for _, text := range amiss {
		r.Problems = append(r.Problems, "the database: "+strings.Join(strings.Fields(text), " "))
	}
	if len(amiss) > 0 {
		r.Unknown = "whether anything else was changed: a database that is damaged proves nothing of what it holds"
		return r, nil
	}
	if err := r.checkFiles(ctx, s, s.progress("read the audio again")); err != nil {
		return r, err
	}
	watch, err := s.watch(ctx)
	if err != nil {
		return r, err
	}
	audit, err := s.record.Audit(ctx, func(v store.AuditedSession) error {
		one := verified(v)
		if one.Marks, err = watch.marks(v.ID, v.Site, v.Entries); err != nil {
			return err
		}
		for _, m := range one.Marks {
			if !m.Voids || v.Site != "" { // what another site says is not an edit of this study
				one.Remarks = append(one.Remarks, m)
				continue
			}
			one.Problems = append(one.Problems, m.Says)
			one.Problem = one.Problems[0]
		}
		r.Sessions = append(r.Sessions, one)
		return ctx.Err()
	})
	if err != nil {
		return r, err
	}
	r.take(audit)
	var here []string
	for _, v := range r.Sessions {
		here = append(here, v.Session)
	}
	gone, err := watch.missing(here)
	if err != nil {
		return r, err
	}
	r.Problems = append(r.Problems, gone...)
	r.OK = len(r.Problems) == 0
	r.Absences, err = s.absences(ctx)
	return r, err
}

// take adds what the record says.
func (r *VerifyReport) take(audit store.Audit) {
	r.Record = audit.Head
	r.Problems = append(r.Problems, audit.Faults...)
	for _, one := range r.Sessions {
		for _, p := range one.Problems {
			r.Problems = append(r.Problems, fmt.Sprintf("session %s: %s", one.Session, p))
		}
	}
	switch {
	case audit.Older:
		r.Unknown = "this study is of the older kind, without a record: only audio files, plans and the journals of sessions prove themselves; " +
			"who listened to what, measurements and entered figures do not, nor can the end of the list of sessions"
	case audit.Since != "":
		r.Unknown = fmt.Sprintf("the record begins on %.10s with what was found then: what was changed before, it cannot know; ", audit.Since) + unknownToAll
	default:
		r.Unknown = unknownToAll
	}
}

// unknownToAll is what no study can say of itself.
const unknownToAll = "whoever can write the whole study can write a whole new record: a head written down elsewhere, as one was shown at the end of each session, shows that when it is given here"

func (r *VerifyReport) checkFiles(ctx context.Context, s *Study, progress func(float64)) error {
	files, err := s.recordedFiles(ctx)
	if err != nil {
		return err
	}
	for i, f := range files {
		progress(float64(i) / float64(len(files)))
		sum, err := hashUntil(ctx, s.Path(f.path))
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, os.ErrNotExist):
			r.Problems = append(r.Problems, fmt.Sprintf("%s is missing", f.path))
		case err != nil:
			r.Problems = append(r.Problems, fmt.Sprintf("%s cannot be read: %v", f.path, err))
		case sum != f.sum:
			r.Problems = append(r.Problems, fmt.Sprintf("%s was changed since it was added", f.path))
		}
		r.Files++
	}
	progress(1)
	return nil
}

func verified(v store.AuditedSession) VerifiedSession {
	r := VerifiedSession{Session: v.ID, Plan: v.Plan, State: "running", Entries: len(v.Entries), Problems: v.Faults}
	if v.Ended {
		r.State = "ended"
	}
	if n := len(v.Entries); n > 0 {
		r.Commitment, r.Head = v.Entries[0].Note, v.Entries[n-1].Hash
	}
	if len(v.Faults) > 0 {
		r.Problem = v.Faults[0]
	}
	return r
}
