package main

import (
	"context"
	"fmt"
	"io"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/trials/study"
)

// verifyBundle proves a bundle alone.
func (a *app) verifyBundle(ctx context.Context, path, head string) error {
	r, err := study.VerifyBundle(ctx, path, head)
	if err != nil {
		return err
	}
	if err := a.print(r, func(w io.Writer) { bundleText(w, r) }); err != nil {
		return err
	}
	if !r.OK {
		return rejected(fmt.Errorf("%s: %s", path, r.Problems[0]), "ask the sender for the bundle again, and for the heads of its sessions")
	}
	return nil
}

func bundleText(w io.Writer, r study.VerifiedBundle) {
	if r.Kind == "" {
		fmt.Fprintf(w, "%s: refused\n", printable.Text(r.File))
		verifiedText(w, r.VerifyReport)
		return
	}
	fmt.Fprintf(w, "%s: %s, signed by site %s\n", printable.Text(r.File), r.Kind, r.Fingerprint)
	if r.Program != "" {
		fmt.Fprintf(w, "made with %s\n", printable.Text(r.Program))
	}
	verifiedText(w, r.VerifyReport)
}
