package main

import (
	"context"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/store"
	"heardiff/trials/store/whole"
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

// imported is what "import" prints.
type imported struct {
	Schema      string      `json:"schema"`
	Kind        bundle.Kind `json:"kind"`
	Fingerprint string      `json:"fingerprint"`
	Study       string      `json:"study"`
	store.Merged
	Excerpts int `json:"excerpts"`
	// Foreign are the plans that were not made in this study.
	Foreign []foreignPlan `json:"foreign_plans"`
	// Absent names, in words, what was begun elsewhere and has not come back: see absences.
	Absent []string `json:"absent"`
}

func (a *app) importBundle(ctx context.Context, path, from string) error {
	f, size, err := openWhole(ctx, path)
	if err != nil {
		return err
	}
	defer f.Close()
	b, err := interruptibly(ctx, func() (*bundle.Bundle, error) {
		return bundle.ReadIf(f, size, func(b *bundle.Bundle) error { return a.wanted(b, from) })
	})
	if err != nil {
		return rejected(fmt.Errorf("%s: %w", path, err), "nothing was taken; ask the sender for the bundle again")
	}
	if b.Manifest.Kind == bundle.Kit {
		return a.importKit(ctx, b)
	}
	return a.importResults(ctx, b, path)
}

// wanted refuses a bundle by what its manifest says, before its content is read.
func (a *app) wanted(b *bundle.Bundle, from string) error {
	if from != "" && from != b.Fingerprint() {
		return fmt.Errorf("signed by site %s, not by %s", b.Fingerprint(), from)
	}
	// Clocks and their zones are wrong by hours, not by days.
	if made := b.Manifest.Created; made.After(a.now().Add(48 * time.Hour)) {
		return fmt.Errorf("made on %s, which is still to come", made.UTC().Format(time.DateOnly))
	}
	return nil
}

// foreignPlan is a plan that came with results and was not made in this study.
type foreignPlan struct {
	Plan   string  `json:"plan"`
	SHA256 string  `json:"sha256"`
	Design string  `json:"design"`
	Alpha  float64 `json:"alpha"`
	Trials int     `json:"trials"`
}

// maxForeignAlpha is the largest level at which a plan of another site is taken in. Common practice, no source: nobody
// claims an effect at a risk of more than one in ten.
const maxForeignAlpha = 0.1

// foreignPlans names the plans that were made neither in this study nor taken in before. It refuses one that decides
// what no rule of this study could.
func foreignPlans(ctx context.Context, s *store.Store, plans []trials.Plan) ([]foreignPlan, error) {
	here, err := s.PlansByID(ctx)
	if err != nil {
		return nil, err
	}
	own := map[string]bool{}
	for _, p := range here {
		own[p.HashText()] = true
	}
	var foreign []foreignPlan
	for _, p := range plans {
		if own[p.HashText()] {
			continue
		}
		if p.Alpha > maxForeignAlpha {
			return nil, fmt.Errorf("plan %q was not made in this study, and would call at a risk of %g what is 'heard' (at most %g is taken)",
				p.ID, p.Alpha, maxForeignAlpha)
		}
		foreign = append(foreign, foreignPlan{p.ID, p.HashText(), p.Design.String(), p.Alpha, p.Count(trials.Scored)})
	}
	return foreign, nil
}

// importResults joins the sessions of another site to the study they belong to.
func (a *app) importResults(ctx context.Context, b *bundle.Bundle, path string) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	of, err := s.Study(ctx)
	if err != nil {
		return err
	}
	if of.ID != b.Manifest.Study {
		return rejected(fmt.Errorf("%s: results of another study, %q", path, b.Manifest.Title),
			"results are joined where their plan was made: send a kit, and import what comes back")
	}
	if err := a.checkEscrow(b); err != nil {
		return rejected(fmt.Errorf("%s: %w", path, err), "nothing was taken")
	}
	foreign, err := foreignPlans(ctx, s, b.Content.Plans)
	if err != nil {
		return rejected(fmt.Errorf("%s: %w", path, err), "nothing was taken; results of this study's own plans are: send a kit")
	}
	sum, err := hashUntil(ctx, path)
	if err != nil {
		return err
	}
	m := store.Merge{Bundle: sum, Site: b.Fingerprint(), Plans: b.Content.Plans, Begun: begunAt(b)}
	name := func(id string) string { return store.ForeignListener(id, m.Site) }
	for _, l := range b.Content.Listeners {
		m.Listeners = append(m.Listeners, store.Listener{ID: name(l.ID), Group: l.Group, Years: l.Years, Hearing: l.Hearing,
			Transducer: l.Transducer, Room: l.Room, Consent: l.Consent, Simulated: l.Simulated})
	}
	for i, v := range b.Content.Sessions {
		m.Sessions = append(m.Sessions, store.MergeSession{ID: v.ID, Listener: name(v.Listener), Device: v.Device, PlanHash: v.Plan,
			Entries: v.Entries, Outcome: &b.Outcomes[i]})
	}
	count, err := s.Merge(ctx, m)
	if err != nil {
		return inStudy(fmt.Errorf("%s: %w", path, err))
	}
	for _, p := range foreign {
		a.warn("plan %q (%s, %d scored trials, alpha %g) was not made in this study: its results are judged by this study's rules, not by its own",
			p.Plan, p.Design, p.Trials, p.Alpha)
	}
	absent, err := absences(ctx, s)
	if err != nil {
		return err
	}
	return a.printImported(imported{Kind: bundle.Results, Fingerprint: b.Fingerprint(), Study: of.ID, Merged: count, Foreign: foreign, Absent: absent})
}

// checkEscrow opens the seeds that were sealed to this site before the first trial, and demands that each is the one
// which the session revealed at its end.
func (a *app) checkEscrow(b *bundle.Bundle) error {
	site, err := a.siteKey()
	if err != nil {
		return err
	}
	if bundle.Fingerprint(site.Public().(ed25519.PublicKey)) == b.Fingerprint() {
		return nil // this site's own, from before it was copied
	}
	key, err := a.sealingKey()
	if err != nil {
		return err
	}
	for _, v := range b.Content.Sessions {
		seed, err := trials.OpenWith(key, v.Escrow, v.ID)
		if err != nil {
			return fmt.Errorf("session %q: %w", v.ID, err)
		}
		if hex.EncodeToString(seed[:]) != v.Entries[len(v.Entries)-1].Note {
			return fmt.Errorf("session %q: the seed it reveals is not the one it sealed to this site", v.ID)
		}
	}
	return nil
}

func (a *app) printImported(r imported) error {
	r.Schema = "heardiff.import/1"
	return a.print(r, func(w io.Writer) {
		if r.Kind == bundle.Kit {
			fmt.Fprintf(w, "kit of site %s: %d excerpts, ready to listen (\"heardiff plan list\" names the plan)\n", r.Fingerprint, r.Excerpts)
			return
		}
		fmt.Fprintf(w, "results of site %s: %d sessions of %d listeners are new, %d were here already\n", r.Fingerprint, r.Sessions, r.Listeners, r.Known)
		for _, gap := range r.Absent {
			fmt.Fprintln(w, gap)
		}
	})
}

// importKit makes a study that carries the sender's, with the kit's plan and audio.
func (a *app) importKit(ctx context.Context, b *bundle.Bundle) error {
	dir := a.studyFolder()
	if holdsStudy(dir) || dir == "." {
		return rejected(errors.New("a kit makes a study of its own"), "name a new folder for it: --study DIR")
	}
	origin, err := hex.DecodeString(b.Manifest.SealKey)
	if err != nil {
		return rejected(fmt.Errorf("the kit's sealing key: %w", err), "")
	}
	if err := folderFree(dir); err != nil { // before any work is done
		return err
	}
	var told *failure
	if err := a.makeKitStudy(ctx, dir, b, origin); errors.As(err, &told) {
		return err
	} else if err != nil {
		return rejected(err, "nothing was taken; ask the sender for the kit again")
	}
	if err := a.noteKit(b, dir); err != nil {
		return err
	}
	return a.printImported(imported{Kind: bundle.Kit, Fingerprint: b.Fingerprint(), Study: b.Manifest.Study,
		Excerpts: len(b.Content.Excerpts), Merged: store.Merged{Plans: len(b.Content.Plans)}})
}

// makeKitStudy makes the study beside its place and puts it there when it is whole. dir must be missing or empty.
func (a *app) makeKitStudy(ctx context.Context, dir string, b *bundle.Bundle, origin []byte) error {
	if err := os.MkdirAll(filepath.Dir(dir), 0o777); err != nil {
		return err
	}
	whole.Sweep(filepath.Dir(dir))
	making, err := whole.NewFolder(filepath.Dir(dir))
	if err != nil {
		return err
	}
	defer making.Discard()
	s, err := a.createStudy(ctx, making.Path, store.Study{ID: b.Manifest.Study, Title: b.Manifest.Title, OriginKey: origin})
	if err != nil {
		return err
	}
	if err := fillFromKit(ctx, s, b); err != nil {
		return errors.Join(err, s.Discard(ctx))
	}
	if err := folderFree(dir); err != nil { // before the record is closed: on a server it could not be discarded after
		return errors.Join(err, s.Discard(ctx))
	}
	if err := s.Close(); err != nil {
		return err
	}
	if err := making.Place(dir); err != nil {
		return kitPlaceTaken(dir, err)
	}
	return nil
}

// folderFree refuses a place for a new study at which anything but an empty folder stands.
func folderFree(dir string) error {
	left, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(left) == 0 {
		return nil
	}
	return kitPlaceTaken(dir, fs.ErrExist)
}

// kitPlaceTaken says where a kit could not come, if it was because of what stands there.
func kitPlaceTaken(dir string, err error) error {
	if errors.Is(err, fs.ErrExist) {
		return failed(exitUsage, fmt.Errorf("--study %s: something else stands there", dir), "name a new folder for the kit: --study DIR")
	}
	return err
}

func fillFromKit(ctx context.Context, s *store.Store, b *bundle.Bundle) error {
	for _, c := range b.Content.Chains {
		if err := checkName("chain", c.Name); err != nil {
			return err
		}
		if err := s.AddChain(ctx, store.Chain(c)); err != nil {
			return err
		}
	}
	for _, e := range b.Content.Excerpts {
		if err := checkName("excerpt", e.Name); err != nil {
			return err
		}
		stored := store.Excerpt{Name: e.Name, Music: e.Music, StartS: e.StartS, Seconds: e.Seconds, RateHz: e.RateHz, Result: e.Result}
		for _, p := range e.Presentations {
			// The name in the folder is the hash: nothing from outside becomes part of a path.
			path := "audio/excerpts/kit-" + p.SHA256[:16] + ".wav"
			if err := unpack(s.Path(path), b, p.SHA256); err != nil {
				return err
			}
			stored.Presentations = append(stored.Presentations, store.Presentation{Excerpt: e.Name, Chain: p.Chain,
				Treatment: p.Treatment, Dose: p.Dose, Path: path, SHA256: p.SHA256, Result: p.Result})
		}
		if err := s.SaveExcerpt(ctx, stored); err != nil {
			return err
		}
	}
	for _, p := range b.Content.Plans {
		if err := s.AddPlan(ctx, p); err != nil {
			return err
		}
	}
	return nil
}

func unpack(path string, b *bundle.Bundle, sum string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return err
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(b.Audio(f, sum), f.Sync(), f.Close())
}
