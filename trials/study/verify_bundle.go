package study

import (
	"context"
	"errors"
	"fmt"
	"io"

	"heardiff/trials"
	"heardiff/trials/bundle"
)

// VerifiedBundle is what was proved of a bundle alone.
type VerifiedBundle struct {
	VerifyReport
	File        string      `json:"file"`
	Kind        bundle.Kind `json:"kind"`
	Fingerprint string      `json:"fingerprint"`
	Study       string      `json:"study"`
	Program     string      `json:"program"` // the program that made it; "" if not stated
}

// unknownOfBundle is what no bundle can say of itself.
const unknownOfBundle = "a signature says whose key signed, and not that this site did not run or write a session anew before it signed: " +
	"heads that it sent when each session ended show that, when one is given here; nor that no session was left out"

// VerifyBundle proves a bundle by itself; given a head, also that the head belongs to the bundle's record. The findings are the Problems.
func VerifyBundle(ctx context.Context, path, head string) (VerifiedBundle, error) {
	r := VerifiedBundle{File: path, VerifyReport: VerifyReport{Schema: "heardiff.verify/1", Unknown: unknownOfBundle}}
	f, size, err := OpenWhole(ctx, path)
	if err != nil {
		return r, err
	}
	defer f.Close()
	b, err := Interruptibly(ctx, func() (*bundle.Bundle, error) { return bundle.Read(f, size) })
	if ctx.Err() != nil {
		return r, err
	}
	if err != nil {
		r.refused(err)
	} else if err := r.fill(ctx, b, head); err != nil {
		return r, err
	}
	r.OK = len(r.Problems) == 0
	return r, nil
}

// refused names each edit in a bundle that was rejected.
func (r *VerifiedBundle) refused(err error) {
	var edits bundle.Edits
	if !errors.As(err, &edits) {
		edits = bundle.Edits{err}
	}
	for _, e := range edits {
		r.Problems = append(r.Problems, e.Error())
	}
}

// fill lists what is in a bundle that passed every check, and checks its audio.
func (r *VerifiedBundle) fill(ctx context.Context, b *bundle.Bundle, head string) error {
	r.Kind, r.Fingerprint, r.Study = b.Manifest.Kind, b.Fingerprint(), b.Manifest.Study
	r.Program = b.Manifest.Program
	r.Record = Head{Hash: b.Manifest.Record, Short: trials.ShortHead(b.Manifest.Record)}
	plans := map[string]string{}
	for _, p := range b.Content.Plans {
		plans[p.HashText()] = p.ID
	}
	for _, v := range b.Content.Sessions {
		marks := saidAgainst(v.Marks)
		r.Sessions = append(r.Sessions, VerifiedSession{Session: v.ID, Plan: plans[v.Plan], State: "ended", Entries: len(v.Entries),
			Commitment: v.Entries[0].Note, Head: v.Entries[len(v.Entries)-1].Hash, Marks: marks, Remarks: marks})
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
func (r *VerifiedBundle) match(head string) error {
	if head == "" {
		return nil
	}
	same, err := trials.IsHead(r.Record.Hash, head)
	if err != nil {
		return misusedf("%v: %v", OptionHead, err)
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
