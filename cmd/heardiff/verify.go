package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"reflect"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/store"
)

func (a *app) verifyCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "verify",
		Short: "prove that nothing in the study was changed",
		Long: `Prove that nothing in the study was changed: each audio file still has the SHA-256 it had
when it was added; in each session every entry follows the one before; and of each session
that has ended the order of its trials is dealt again from the seed revealed at its end and
held against the seal that was stored, and shown, before its first trial. The counts that
"pool", "link" and "report" add up are held against it, too.

A session's head is the hash of its last entry. Whoever can write the file could make a
whole new record; a head that was written down elsewhere when the session ended shows that.
Of a session that still runs only the chain of entries can be checked. Sessions are
numbered: one that is missing between others is named.`,
		Example: "  heardiff verify\n  heardiff verify --json",
		Args:    exactArgs(),
		RunE: a.onStudy(func(ctx context.Context, s *store.Store, _ []string) error {
			r, err := a.verify(ctx, s)
			if err != nil {
				return err
			}
			if err := a.print(r, func(w io.Writer) { r.text(w) }); err != nil {
				return err
			}
			if len(r.Problems) > 0 {
				return rejected(fmt.Errorf("the study is not as it was recorded: %s", r.Problems[0]), "")
			}
			return nil
		}),
	}
}

// verifyReport is what "verify" tells.
type verifyReport struct {
	Schema   string            `json:"schema"`
	OK       bool              `json:"ok"`
	Files    int               `json:"files"`
	Sessions []verifiedSession `json:"sessions"`
	Problems []string          `json:"problems"`
}

type verifiedSession struct {
	Session    string `json:"session"`
	Plan       string `json:"plan"`
	State      string `json:"state"` // running, or ended
	Entries    int    `json:"entries"`
	Commitment string `json:"commitment"`
	Head       string `json:"head"`
	Problem    string `json:"problem,omitempty"`
}

func (a *app) verify(ctx context.Context, s *store.Store) (verifyReport, error) {
	r := verifyReport{Schema: "heardiff.verify/1"}
	if err := r.checkFiles(ctx, s, a.progress("read the audio again")); err != nil {
		return r, err
	}
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return r, err
	}
	outcomes, err := s.Outcomes(ctx)
	if err != nil {
		return r, err
	}
	next := 1
	for _, v := range sessions {
		for ; next < v.Number; next++ {
			r.Problems = append(r.Problems, fmt.Sprintf("session number %d was removed", next))
		}
		next++
		one, err := verifySession(ctx, s, v, outcomes)
		if err != nil {
			return r, err
		}
		r.Sessions = append(r.Sessions, one)
		if one.Problem != "" {
			r.Problems = append(r.Problems, fmt.Sprintf("session %s: %s", one.Session, one.Problem))
		}
	}
	r.OK = len(r.Problems) == 0
	return r, nil
}

// recordedFile is a file of the study and the hash it must have.
type recordedFile struct{ path, sum string }

func recordedFiles(ctx context.Context, s *store.Store) ([]recordedFile, error) {
	var all []recordedFile
	captures, err := s.Captures(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range captures {
		all = append(all, recordedFile{c.Path, c.SHA256})
	}
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return nil, err
	}
	for _, e := range excerpts {
		for _, p := range e.Presentations {
			all = append(all, recordedFile{p.Path, p.SHA256})
		}
	}
	return all, nil
}

func (r *verifyReport) checkFiles(ctx context.Context, s *store.Store, progress func(float64)) error {
	files, err := recordedFiles(ctx, s)
	if err != nil {
		return err
	}
	for i, f := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		progress(float64(i) / float64(len(files)))
		sum, err := hashFile(s.Path(f.path))
		switch {
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

func verifySession(ctx context.Context, s *store.Store, v store.Session, outcomes map[string]trials.Summary) (verifiedSession, error) {
	r := verifiedSession{Session: v.ID, Plan: v.Plan, State: "running"}
	plan, err := s.Plan(ctx, v.Plan)
	if err != nil {
		return r, err
	}
	entries, err := s.Entries(ctx, v.ID)
	if err != nil {
		r.Problem = err.Error()
		return r, nil
	}
	r.Entries = len(entries)
	if len(entries) > 0 {
		r.Commitment, r.Head = entries[0].Note, entries[len(entries)-1].Hash
		if entries[0].Session != v.ID {
			r.Problem = fmt.Sprintf("its entries belong to session %q", entries[0].Session)
			return r, nil
		}
	}
	if err := trials.CheckChain(entries); err != nil {
		r.Problem = err.Error()
		return r, nil
	}
	result, err := trials.Reveal(plan, entries)
	if errors.Is(err, trials.ErrBlind) {
		return r, nil
	}
	r.State = "ended"
	if err != nil {
		r.Problem = err.Error()
	} else if kept, ok := outcomes[v.ID]; ok && !reflect.DeepEqual(kept, result.Summary()) {
		r.Problem = "the counts kept of it are not those of its entries"
	}
	return r, nil
}

func (r verifyReport) text(w io.Writer) {
	t := newTable("session", "plan", "state", "entries", "seal before trial 1", "head", "")
	t.right(3)
	for _, s := range r.Sessions {
		mark := "proved"
		switch {
		case s.Problem != "":
			mark = "BROKEN"
		case s.State == "running":
			mark = "chain whole"
		}
		t.row(shortID(s.Session), s.Plan, s.State, fmt.Sprint(s.Entries), fmt.Sprintf("%.16s", s.Commitment), fmt.Sprintf("%.16s", s.Head), mark)
	}
	t.print(w, "")
	for _, p := range r.Problems {
		fmt.Fprintf(w, "%s\n", p)
	}
	if r.OK {
		fmt.Fprintf(w, "%d files and %d sessions are as they were recorded\n", r.Files, len(r.Sessions))
	}
}
