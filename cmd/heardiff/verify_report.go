package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/cmd/heardiff/internal/report"
	"heardiff/playback/pcm"
	"heardiff/trials"
	"heardiff/trials/study"
)

// mostPage is how large a page is taken for one, in bytes.
const mostPage = 64 << 20

// verifiedPage is what "verify" prints of a report.
type verifiedPage struct {
	study.VerifyReport
	File  string `json:"file"`
	Title string `json:"title"`
	// Rows counts the rows of results that were counted again, Texts what was compared with its digest.
	Rows  int `json:"rows"`
	Texts int `json:"texts"`
	// Summary marks a page that carries the counts of its sessions and not their journals.
	Summary bool `json:"summary"`
}

// unknownOfPage is what no page can say of itself.
const unknownOfPage = "that the secret of a session was drawn and not chosen, that nobody repeated the study until it came out so, and what listeners said of themselves; " +
	"and whoever rewrites a page with all that it carries is found by a head that was written down elsewhere alone"

// isPage reports whether a file begins as a page of the web does.
func isPage(path string) bool {
	f, _, err := pcm.OpenFile(path)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, 64)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false
	}
	return bytes.HasPrefix(bytes.ToLower(bytes.TrimSpace(head[:n])), []byte("<!doctype html"))
}

// verifyPage proves a report alone.
func (a *app) verifyPage(ctx context.Context, path, head string) error {
	f, size, err := study.OpenWhole(ctx, path)
	if err != nil {
		return err
	}
	defer f.Close()
	if size > mostPage {
		return rejected(fmt.Errorf("%s: %d bytes: no report is as large", path, size), "")
	}
	page, err := io.ReadAll(f)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	c, err := study.Interruptibly(ctx, func() (report.Checked, error) { return report.Check(page) })
	if err != nil {
		return rejected(fmt.Errorf("%s: %w", path, err), `"heardiff report --out FILE.html" writes one`)
	}
	r := verifiedPage{File: path, Title: c.Title, Rows: c.Rows, Texts: c.Texts, Summary: c.Summary,
		VerifyReport: study.VerifyReport{Schema: "heardiff.verify/1", Record: c.Head, Problems: c.Faults, Unknown: unknownOfPage}}
	for _, s := range c.Sessions {
		if c.Summary {
			break // their journals are in the study alone
		}
		r.Sessions = append(r.Sessions, verifiedPageSession(s))
	}
	if err := r.match(head); err != nil {
		return err
	}
	r.OK = len(r.Problems) == 0
	if err := a.print(r, func(w io.Writer) { r.text(w) }); err != nil {
		return err
	}
	if !r.OK {
		return rejected(fmt.Errorf("%s was edited: %s", path, r.Problems[0]), "ask for the page again, and for the head of the study's record")
	}
	return nil
}

func verifiedPageSession(s report.CheckedSession) study.VerifiedSession {
	v := study.VerifiedSession{Session: s.ID, Plan: s.Plan, State: "ended", Entries: len(s.Entries), Problems: s.Faults}
	if n := len(s.Entries); n > 0 {
		v.Commitment, v.Head = s.Entries[0].Note, s.Entries[n-1].Hash
	}
	if len(s.Faults) > 0 {
		v.Problem = s.Faults[0]
	}
	return v
}

// match compares the head of the page with one that was written down elsewhere.
func (r *verifiedPage) match(head string) error {
	if head == "" {
		return nil
	}
	same, err := trials.IsHead(r.Record.Hash, head)
	switch {
	case err != nil:
		return misused(fmt.Errorf("--head: %w", err))
	case same:
		r.Given = "the head given is that of the study's record when it wrote the page"
	default:
		r.Problems = append(r.Problems, "the head given is not the page's: it was written from another record, or at another time")
	}
	return nil
}

func (r verifiedPage) text(w io.Writer) {
	fmt.Fprintf(w, "%s: %s\n", printable.Text(r.File), printable.Text(r.Title))
	if r.OK {
		fmt.Fprintf(w, "%s of results were counted and computed again; %d texts and tags are as they were written\n", trials.Counted(r.Rows, "row"), r.Texts)
	}
	if r.Summary {
		fmt.Fprintln(w, "the page holds the counts of each session, not its answers: these are in the study alone")
	}
	verifiedText(w, r.VerifyReport)
}
