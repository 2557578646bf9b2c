package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/study"
)

func (a *app) importCommand() *cobra.Command {
	var from string
	c := &cobra.Command{
		Use:   "import FILE [--from FINGERPRINT]",
		Short: "take in another site's results, or a kit to listen to",
		Long: `Take in a bundle. Results are joined to the study they belong to; a kit makes a new study
in the folder given by --study, ready to listen.

Before anything is written the signature, every hash, every chain of entries and every
sealed order is checked; a record that was edited is named and nothing is taken. A bundle
that comes twice changes nothing, and the order in which bundles come makes no difference.
The fingerprint tells whose key signed: compare it with the sender over another line, or
have it compared with --from.

A kit's sessions are numbered, and every bundle of results lists all that were begun, with their
seals: one that has not come back, a number that is missing, and a kit that was taken twice at one
site are named here and in "results", "verify", "link" and the report.

What the signature proves: who held the key signed these records, and nothing was changed since. The
seeds are those that were sealed to this site before the first trial, so that no site can choose
an order to fit its answers. What it does not prove: that the answers are those that were given.
Once a session has ended its site knows the order, holds the key, and can write its own answers
anew. An outside record closes that: have the listener send you the head that the end of the
session shows, in full or in its short form, at once and over another line (telephone, mail), and
compare it with the session's head in "results". A site that writes answers anew has another head.`,
		Example: "  heardiff import for-lisa.bundle --study lisa\n  heardiff import results.bundle --from 3f1c0a9b7d2e4455",
		Args:    exactArgs("FILE"),
		RunE:    func(c *cobra.Command, args []string) error { return a.importBundle(c.Context(), args[0], from) },
	}
	c.Flags().StringVar(&from, "from", "", "take only what the site with this `fingerprint` signed")
	return c
}

func (a *app) importBundle(ctx context.Context, path, from string) error {
	b, err := a.host().OpenBundle(ctx, path, from)
	if err != nil {
		return err
	}
	defer b.Close()
	if b.Manifest.Kind == bundle.Kit {
		r, err := a.host().ImportKit(ctx, a.studyFolder(), b)
		if err != nil {
			return err
		}
		return a.printImported(r)
	}
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	r, err := s.Import(ctx, b)
	if err != nil {
		return err
	}
	return a.printImported(r)
}

func (a *app) printImported(r study.Imported) error {
	return a.print(r, func(w io.Writer) {
		if r.Kind == bundle.Kit {
			fmt.Fprintf(w, "kit of site %s: %s, ready to listen (\"heardiff plan list\" names the plan)\n", r.Fingerprint, trials.Counted(r.Excerpts, "excerpt"))
			return
		}
		fmt.Fprintf(w, "results of site %s: new are %s of %s; here already: %d\n", r.Fingerprint, trials.Counted(r.Sessions, "session"), trials.Counted(r.Listeners, "listener"), r.Known)
		for _, gap := range r.Absent {
			fmt.Fprintln(w, gap)
		}
	})
}
