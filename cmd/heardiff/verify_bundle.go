package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/store"
)

// verifiedBundle is what "verify" tells of a bundle.
type verifiedBundle struct {
	verifyReport
	File        string      `json:"file"`
	Kind        bundle.Kind `json:"kind"`
	Fingerprint string      `json:"fingerprint"`
	Study       string      `json:"study"`
}

// unknownOfBundle is what no bundle can say of itself.
const unknownOfBundle = "a signature says whose key signed, and not that this site did not run or write a session anew before it signed: " +
	"heads that it sent when each session ended show that (\"heardiff verify FILE --head HEAD\"); nor that no session was left out"

// verifyBundle proves a bundle alone.
func (a *app) verifyBundle(ctx context.Context, path, head string) error {
	f, size, err := openWhole(ctx, path)
	if err != nil {
		return err
	}
	defer f.Close()
	b, err := interruptibly(ctx, func() (*bundle.Bundle, error) { return bundle.Read(f, size) })
	if ctx.Err() != nil {
		return err
	}
	r := verifiedBundle{File: path, verifyReport: verifyReport{Schema: "heardiff.verify/1", Unknown: unknownOfBundle}}
	if err != nil {
		r.refused(err)
	} else if err := r.fill(ctx, b, head); err != nil {
		return err
	}
	r.OK = len(r.Problems) == 0
	if err := a.print(r, func(w io.Writer) { r.text(w) }); err != nil {
		return err
	}
	if !r.OK {
		return rejected(fmt.Errorf("%s: %s", path, r.Problems[0]), "ask the sender for the bundle again, and for the heads of its sessions")
	}
	return nil
}

// refused names each edit of a bundle that was not taken.
func (r *verifiedBundle) refused(err error) {
	var edits bundle.Edits
	if !errors.As(err, &edits) {
		edits = bundle.Edits{err}
	}
	for _, e := range edits {
		r.Problems = append(r.Problems, e.Error())
	}
}

// fill tells what is in a bundle that passed every check, and checks its audio.
func (r *verifiedBundle) fill(ctx context.Context, b *bundle.Bundle, head string) error {
	r.Kind, r.Fingerprint, r.Study = b.Manifest.Kind, b.Fingerprint(), b.Manifest.Study
	r.Record = store.Head{Hash: b.Manifest.Record, Short: trials.ShortHead(b.Manifest.Record)}
	plans := map[string]string{}
	for _, p := range b.Content.Plans {
		plans[p.HashText()] = p.ID
	}
	for _, v := range b.Content.Sessions {
		r.Sessions = append(r.Sessions, verifiedSession{Session: v.ID, Plan: plans[v.Plan], State: "ended", Entries: len(v.Entries),
			Commitment: v.Entries[0].Note, Head: v.Entries[len(v.Entries)-1].Hash})
	}
	for _, sum := range b.AudioSums() {
		err := b.Audio(io.Discard, sum)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			r.Problems = append(r.Problems, err.Error())
		}
		r.Files++
	}
	return r.match(head)
}

// match looks for a head that was sent before the bundle.
func (r *verifiedBundle) match(head string) error {
	if head == "" {
		return nil
	}
	same, err := trials.IsHead(r.Record.Hash, head)
	if err != nil {
		return misused(fmt.Errorf("--head: %w", err))
	}
	if same {
		r.Given = "the head given is that of the site's record when it wrote the bundle"
		return nil
	}
	for _, v := range r.Sessions {
		if same, err := trials.IsHead(v.Head, head); same || err != nil {
			r.Given = fmt.Sprintf("the head given is the last entry of session %s: it is as it was then", v.Session)
			return err
		}
	}
	r.Problems = append(r.Problems, "the head given is of no session in the bundle, nor of the record when it was written")
	return nil
}

func (r verifiedBundle) text(w io.Writer) {
	if r.Kind == "" {
		fmt.Fprintf(w, "%s: refused\n", printable.Text(r.File))
		r.verifyReport.text(w)
		return
	}
	fmt.Fprintf(w, "%s: %s, signed by site %s\n", printable.Text(r.File), r.Kind, r.Fingerprint)
	r.verifyReport.text(w)
}
