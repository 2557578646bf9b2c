package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/study"
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
read out over the telephone, and names the entry that it is. From a session that still runs,
the answers since its last sitting can be cut off unnoticed. Where a study was made before there
was a record, verify says so.`,
		Example: "  heardiff verify\n  heardiff verify --head \"60127 44902 18735 22619 03341\"\n  heardiff verify results.bundle\n  heardiff verify study.html",
		Args:    oneOrNone("at most a FILE is"),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 1 {
				if isPage(args[0]) {
					return a.verifyPage(c.Context(), args[0], head)
				}
				return a.verifyBundle(c.Context(), args[0], head)
			}
			return a.inStudy(c.Context(), func(s *study.Study) error { return a.verifyStudy(c.Context(), s, head) })
		},
	}
	c.Flags().StringVar(&head, "head", "", "a `head` that was written down elsewhere, in full or short")
	return c
}

func (a *app) verifyStudy(ctx context.Context, s *study.Study, head string) error {
	r, err := s.Verify(ctx, head)
	if err != nil {
		return err
	}
	if err := a.print(r, func(w io.Writer) { verifiedText(w, r) }); err != nil {
		return err
	}
	if len(r.Problems) > 0 {
		return rejected(fmt.Errorf("the study is not as it was recorded: %s", r.Problems[0]), "")
	}
	return nil
}

func verifiedText(w io.Writer, r study.VerifyReport) {
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
		t.row(study.ShortID(s.Session), s.Plan, s.State, fmt.Sprint(s.Entries), fmt.Sprintf("%.16s", s.Commitment), fmt.Sprintf("%.16s", s.Head), mark)
	}
	t.print(w, "")
	for _, p := range r.Problems {
		fmt.Fprintf(w, "%s\n", p)
	}
	for _, s := range r.Sessions {
		for _, m := range s.Remarks {
			fmt.Fprintf(w, "session %s: %s\n", study.ShortID(s.Session), m.Says)
		}
	}
	for _, gap := range r.Absent {
		fmt.Fprintf(w, "%s\n", gap)
	}
	if r.OK {
		fmt.Fprintf(w, "%s and %s are as they were recorded\n", trials.Counted(r.Files, "file"), trials.Counted(len(r.Sessions), "session"))
	}
	if r.Record.Hash != "" {
		fmt.Fprintf(w, "head of the record: %s\nto read out: %s\n", r.Record.Hash, r.Record.Short)
	}
	if r.Given != "" {
		fmt.Fprintln(w, r.Given)
	}
	fmt.Fprintf(w, "not known: %s\n", r.Unknown)
	if r.Given == "" {
		fmt.Fprintln(w, "a head that was written down is given by --head HEAD")
	}
}
