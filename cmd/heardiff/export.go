package main

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/store"
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
of times the day stays, of durations whole seconds. The record is chained anew, so that it
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
	d, err := a.draft(ctx, s, o)
	if err != nil {
		return err
	}
	return a.writeBundle(ctx, o.out+o.kit, d)
}

// draft collects what goes into the bundle.
func (a *app) draft(ctx context.Context, s *store.Store, o exportOptions) (bundle.Draft, error) {
	of, err := s.Study(ctx)
	if err != nil {
		return bundle.Draft{}, err
	}
	head, err := s.Head(ctx)
	if err != nil {
		return bundle.Draft{}, err
	}
	d := bundle.Draft{Kind: bundle.Results, Study: of.ID, Title: of.Title, Created: a.now(), Record: head.Hash}
	if o.kit != "" {
		d.Kind = bundle.Kit
		key, err := a.sealingKey()
		if err != nil {
			return d, err
		}
		d.SealKey = key.PublicKey().Bytes()
		d.Content, err = kitContent(ctx, s, o.plan)
		d.Audio = func(sum string) (io.ReadCloser, error) {
			p, err := s.PresentationBySHA(ctx, sum)
			if err != nil {
				return nil, err
			}
			if _, err := a.checkRecorded(ctx, s, recordedFile{p.Path, sum}); err != nil {
				return nil, err
			}
			return os.Open(s.Path(p.Path)) // Write hashes what it reads once more
		}
		return d, err
	}
	if o.anonymous {
		d.Created = d.Created.UTC().Truncate(24 * time.Hour)
	}
	d.Content, err = resultsContent(ctx, s, o.anonymous)
	if err == nil && len(d.Content.Sessions) == 0 {
		err = rejected(errors.New("no session of this site has ended: there are no results to send"), "")
	}
	return d, err
}

// kitContent is one plan with its chains and the excerpts it plays.
func kitContent(ctx context.Context, s *store.Store, id string) (bundle.Content, error) {
	var c bundle.Content
	p, err := s.Plan(ctx, id)
	if err != nil {
		return c, inStudy(err)
	}
	if p.SingleBlind {
		return c, rejected(fmt.Errorf("plan %q is run by hand: there is no audio to send", id), "")
	}
	c.Plans = []trials.Plan{p}
	wanted := map[string]bool{}
	for _, k := range p.Comparisons {
		wanted[k.AudioA], wanted[k.AudioB] = true, true
	}
	chains, err := s.Chains(ctx)
	if err != nil {
		return c, err
	}
	for _, v := range chains {
		c.Chains = append(c.Chains, bundle.Chain(v))
	}
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return c, err
	}
	for _, e := range excerpts {
		packed := bundle.Excerpt{Name: e.Name, Music: e.Music, StartS: e.StartS, Seconds: e.Seconds, RateHz: e.RateHz, Result: e.Result}
		for _, v := range e.Presentations {
			if wanted[v.SHA256] {
				packed.Presentations = append(packed.Presentations, bundle.Presentation{
					Chain: v.Chain, Treatment: v.Treatment, Dose: v.Dose, SHA256: v.SHA256, Result: v.Result})
			}
		}
		if len(packed.Presentations) > 0 {
			c.Excerpts = append(c.Excerpts, packed)
		}
	}
	return c, nil
}

// resultsContent is every session of this site that has ended.
func resultsContent(ctx context.Context, s *store.Store, anonymous bool) (bundle.Content, error) {
	var c bundle.Content
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return c, err
	}
	plans, listeners := map[string]string{}, map[string]bool{}
	for _, v := range sessions {
		entries, err := s.Entries(ctx, v.ID)
		if err != nil {
			return c, err
		}
		c.Begun = append(c.Begun, begunOf(v, entries))
		if v.Site != "" || len(entries) == 0 || entries[len(entries)-1].Kind != trials.EntryEnd {
			continue // another site's own, or still running
		}
		if plans[v.Plan] == "" {
			p, err := s.Plan(ctx, v.Plan)
			if err != nil {
				return c, err
			}
			plans[v.Plan] = p.HashText()
			c.Plans = append(c.Plans, p)
		}
		if !listeners[v.Listener] {
			listeners[v.Listener] = true
			l, err := s.Listener(ctx, v.Listener)
			if err != nil {
				return c, err
			}
			c.Listeners = append(c.Listeners, packListener(l, anonymous))
		}
		device := v.Device
		if anonymous {
			device, entries = "", trials.Withhold(entries)
		}
		c.Sessions = append(c.Sessions, bundle.Session{ID: v.ID, Plan: plans[v.Plan], Listener: v.Listener, Device: device, Escrow: v.Escrow, Entries: entries})
	}
	return c, nil
}

// begunOf names a session in the list of all that were begun.
func begunOf(v store.Session, entries []trials.Entry) bundle.Begun {
	b := bundle.Begun{Number: v.Number, Session: v.ID}
	if len(entries) > 0 {
		b.Seal, b.Ended = entries[0].Note, entries[len(entries)-1].Kind == trials.EntryEnd
	}
	return b
}

func packListener(l store.Listener, anonymous bool) bundle.Listener {
	if anonymous {
		return bundle.Listener{ID: l.ID, Group: l.Group, Simulated: l.Simulated}
	}
	return bundle.Listener{ID: l.ID, Group: l.Group, Years: l.Years, Hearing: l.Hearing, Transducer: l.Transducer,
		Room: l.Room, Consent: l.Consent, Simulated: l.Simulated}
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

func (a *app) writeBundle(ctx context.Context, path string, d bundle.Draft) error {
	to, err := a.destination(path, bundleFile)
	if err != nil {
		return err
	}
	key, err := a.siteKey()
	if err != nil {
		return err
	}
	err = to.write(ctx, func(w io.Writer) error { return bundle.Write(w, d, key) })
	if errors.Is(err, bundle.ErrSite) {
		return rejected(fmt.Errorf("write %s: sessions of this study were begun under another key than the one that would sign", path), "set HEARDIFF_KEYS to the folder that holds it, or copy its site.key here")
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	r := exported{"heardiff.export/1", path, d.Kind, bundle.Fingerprint(key.Public().(ed25519.PublicKey)), len(d.Content.Sessions), len(d.Content.Excerpts),
		d.Record, trials.ShortHead(d.Record)}
	return a.print(r, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %s, %d sessions, %d excerpts\nsigned by site %s\n", printable.Text(r.File), r.Kind, r.Sessions, r.Excerpts, r.Fingerprint)
		if r.Record != "" {
			fmt.Fprintf(w, "head of the study's record: %s\nto read out: %s\n", r.Record, r.Short)
		}
	})
}
