package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/study"
)

// exportOptions are the flags of "export".
type exportOptions struct {
	out, kit, plan, csv string
	anonymous           bool
}

func (a *app) exportCommand() *cobra.Command {
	var o exportOptions
	c := &cobra.Command{
		Use:   "export --out FILE | --kit FILE --plan ID | --csv DIR",
		Short: "write results, a kit for another listener's machine, or tables",
		Long: `Write what others need.

  --out FILE   the sessions that have ended, with plans and listeners, signed with this
               site's key: the site whose study it is imports it
  --kit FILE   a plan and its prepared excerpts, without answers, for another machine:
               import there, listen, and send back "export --out"
  --csv DIR    tidy tables of trials, results and measurements, with a data dictionary; text
               that a spreadsheet would take for a formula (= + - @) has an apostrophe before
               it, as has text that begins with one

The key is made on first use and stays on this machine; its fingerprint is printed, so that
it can be read out over another line. --anonymous leaves out what could tell who listened or
when: all that listeners said of themselves but their group, remarks and reasons, the device;
times keep their day, durations whole seconds. The record is chained anew, so that it
still proves its answers and their order; a hash of the session written down at its end
matches only the whole record.`,
		Example: "  heardiff export --kit for-lisa.bundle --plan 1\n  heardiff export --out results.bundle --anonymous",
		Args:    exactArgs(),
		RunE:    func(c *cobra.Command, _ []string) error { return a.export(c.Context(), o) },
	}
	f := c.Flags()
	f.StringVar(&o.out, "out", "", "write results to `FILE`")
	f.StringVar(&o.kit, "kit", "", "write a kit to `FILE`")
	f.StringVar(&o.plan, "plan", "", "the `plan` of the kit")
	f.StringVar(&o.csv, "csv", "", "write tables into `DIR`")
	f.BoolVar(&o.anonymous, "anonymous", false, "leave out what could tell who listened, or when")
	a.forceFlag(c)
	return c
}

func (a *app) export(ctx context.Context, o exportOptions) error {
	chosen := 0
	for _, v := range []string{o.out, o.kit, o.csv} {
		if v != "" {
			chosen++
		}
	}
	switch {
	case chosen != 1:
		return misusedf("one of --out FILE, --kit FILE and --csv DIR is wanted")
	case o.kit != "" && o.plan == "":
		return misusedf("--kit wants the plan: --plan ID")
	}
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if o.csv != "" {
		return a.exportTables(ctx, s, o.csv)
	}
	if _, err := a.destination(o.out+o.kit, bundleFile); err != nil { // before any work is done
		return err
	}
	var d bundle.Draft
	if o.kit != "" {
		d, err = s.Kit(ctx, o.plan)
	} else {
		d, err = s.Outgoing(ctx, o.anonymous)
	}
	if err != nil {
		return err
	}
	return a.writeBundle(ctx, s, o.out+o.kit, d)
}

// exported is what "export" prints.
type exported struct {
	Schema      string      `json:"schema"`
	File        string      `json:"file"`
	Kind        bundle.Kind `json:"kind"`
	Fingerprint string      `json:"fingerprint"`
	Sessions    int         `json:"sessions"`
	Excerpts    int         `json:"excerpts"`
	// Record is the head of the study's record, as the bundle holds it.
	Record string `json:"record"`
	Short  string `json:"record_short"`
}

func (a *app) writeBundle(ctx context.Context, s *study.Study, path string, d bundle.Draft) error {
	to, err := a.destination(path, bundleFile)
	if err != nil {
		return err
	}
	var fingerprint string
	err = to.write(ctx, func(w io.Writer) error {
		fingerprint, err = s.Export(w, d)
		return err
	})
	if errors.Is(err, bundle.ErrSite) {
		return rejected(fmt.Errorf("write %s: sessions of this study were begun under another key than the one that would sign", path), "set HEARDIFF_KEYS to the folder that holds it, or copy its site.key here")
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	r := exported{"heardiff.export/1", path, d.Kind, fingerprint, len(d.Content.Sessions), len(d.Content.Excerpts),
		d.Record, trials.ShortHead(d.Record)}
	return a.print(r, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %s, %s, %s\nsigned by site %s\n", printable.Text(r.File), r.Kind, trials.Counted(r.Sessions, "session"), trials.Counted(r.Excerpts, "excerpt"), r.Fingerprint)
		if r.Record != "" {
			fmt.Fprintf(w, "head of the study's record: %s\nto read out: %s\n", r.Record, r.Short)
		}
	})
}
