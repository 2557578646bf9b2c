package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

func (a *app) verifyCommand() *cobra.Command {
	var head string
	c := &cobra.Command{
		Use:   "verify [FILE.bundle|FILE.html] [--head HEAD]",
		Short: "prove that nothing in the study, a bundle or a report was changed",
		Long: `Prove that nothing in the study was changed: each audio file still has the SHA-256 it had
when it was added; every row of every table (title, chains, captures, measurements, figures,
excerpts, plans, listeners, sessions, imports) is what the study's record says, whose entries
are chained by their hashes; in each session every entry follows the one before, and its
beginning, its sittings and its end are those in the record; and of each session that has
ended the order of its trials is dealt again from the seed revealed at its end and held
against the seal that was stored, and shown, before its first trial. The counts that "pool",
"link" and "report" add up are held against it, too. Each edit is named on a line.

With FILE a bundle is proved alone: its signature, every hash, every chain of entries, every
sealed order, and the audio in it. A report is proved alone, too: it carries the record, the
journals and digests of all that it says; its results are counted and computed again, and
each edit is named. "Check this report" on the page itself does the same in a browser.

The head of the record is the hash of its last entry. Whoever can write the study could make
a whole new record, and no study can tell that of itself. A head that was written down
elsewhere when a session ended does: --head takes it, in full or in the short form that can be
read out over the telephone, and names the entry that it is. Of a session that still runs what
was answered since its last sitting can be cut off unseen. A study made before there was a
record is said to be of the older kind.`,
		Example: "  heardiff verify\n  heardiff verify --head \"60127 44902 18735 22619 03341\"\n  heardiff verify results.bundle\n  heardiff verify study.html",
		Args:    verifyArgs,
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 1 {
				if isPage(args[0]) {
					return a.verifyPage(c.Context(), args[0], head)
				}
				return a.verifyBundle(c.Context(), args[0], head)
			}
			return a.onStudy(func(ctx context.Context, s *store.Store, _ []string) error { return a.verifyStudy(ctx, s, head) })(c, args)
		},
	}
	c.Flags().StringVar(&head, "head", "", "a `head` that was written down elsewhere, in full or short")
	return c
}

func verifyArgs(_ *cobra.Command, args []string) error {
	if len(args) > 1 {
		return misusedf("%d arguments given: at most a FILE is wanted", len(args))
	}
	return nil
}

func (a *app) verifyStudy(ctx context.Context, s *store.Store, head string) error {
	r, err := a.verify(ctx, s)
	if err == nil {
		err = r.match(ctx, s, head)
	}
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
}

// match looks for a head that was written down elsewhere: among the entries of the record, and the heads of sessions.
func (r *verifyReport) match(ctx context.Context, s *store.Store, head string) error {
	if head == "" {
		return nil
	}
	e, err := s.FindHead(ctx, head)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return misused(fmt.Errorf("--head: %w", err))
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

// verifyReport is what "verify" tells.
type verifyReport struct {
	Schema   string            `json:"schema"`
	OK       bool              `json:"ok"`
	Files    int               `json:"files"`
	Sessions []verifiedSession `json:"sessions"`
	Problems []string          `json:"problems"`
	// Absent names what was begun at other sites and has not come back.
	Absent []string `json:"absent"`
	// Record is the newest entry of the study's record.
	Record store.Head `json:"record"`
	// Unknown says what cannot be known from the study alone.
	Unknown string `json:"unknown"`
	// Given says which entry the head given is; "" where none was, or none has it.
	Given string `json:"given,omitempty"`
}

type verifiedSession struct {
	Session    string `json:"session"`
	Plan       string `json:"plan"`
	State      string `json:"state"` // running, or ended
	Entries    int    `json:"entries"`
	Commitment string `json:"commitment"`
	Head       string `json:"head"`
	// Problem is the first of the Problems.
	Problem  string   `json:"problem,omitempty"`
	Problems []string `json:"problems,omitempty"`
	// Marks say what the ledger of this account knows against the session's blindness; those that void it are problems, too.
	Marks []link.Mark `json:"marks,omitempty"`
}

func (a *app) verify(ctx context.Context, s *store.Store) (verifyReport, error) {
	r := verifyReport{Schema: "heardiff.verify/1"}
	amiss, err := s.Check(ctx)
	if err != nil {
		return r, err
	}
	for _, text := range amiss {
		r.Problems = append(r.Problems, "the database: "+oneLine(text))
	}
	if len(amiss) > 0 {
		r.Unknown = "whether anything else was changed: a database that is damaged proves nothing of what it holds"
		return r, nil
	}
	if err := r.checkFiles(ctx, s, a.progress("read the audio again")); err != nil {
		return r, err
	}
	watch, err := a.watch(ctx, s)
	if err != nil {
		return r, err
	}
	audit, err := s.Audit(ctx, func(v store.AuditedSession) error {
		one := verified(v)
		if one.Marks, err = watch.marks(v.ID, v.Site, v.Entries); err != nil {
			return err
		}
		for _, m := range one.Marks {
			if m.Voids {
				one.Problems = append(one.Problems, m.Says)
				one.Problem = one.Problems[0]
			}
		}
		r.Sessions = append(r.Sessions, one)
		return ctx.Err()
	})
	if err != nil {
		return r, err
	}
	r.take(audit)
	gone, err := watch.missing(r.Sessions)
	if err != nil {
		return r, err
	}
	r.Problems = append(r.Problems, gone...)
	r.OK = len(r.Problems) == 0
	r.Absent, err = absences(ctx, s)
	return r, err
}

// take adds what the record says.
func (r *verifyReport) take(audit store.Audit) {
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
const unknownToAll = "whoever can write the whole study can write a whole new record: a head written down elsewhere, as one was shown at the end of each session, shows that (\"heardiff verify --head HEAD\")"

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

func verified(v store.AuditedSession) verifiedSession {
	r := verifiedSession{Session: v.ID, Plan: v.Plan, State: "running", Entries: len(v.Entries), Problems: v.Faults}
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
	for _, s := range r.Sessions {
		for _, m := range s.Marks {
			if !m.Voids {
				fmt.Fprintf(w, "session %s: %s\n", shortID(s.Session), m.Says)
			}
		}
	}
	for _, gap := range r.Absent {
		fmt.Fprintf(w, "%s\n", gap)
	}
	if r.OK {
		fmt.Fprintf(w, "%d files and %d sessions are as they were recorded\n", r.Files, len(r.Sessions))
	}
	if r.Record.Hash != "" {
		fmt.Fprintf(w, "head of the record: %s\nto read out: %s\n", r.Record.Hash, r.Record.Short)
	}
	if r.Given != "" {
		fmt.Fprintln(w, r.Given)
	}
	fmt.Fprintf(w, "not known: %s\n", r.Unknown)
}
