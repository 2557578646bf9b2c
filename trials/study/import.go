package study

import (
	"context"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/store"
	"heardiff/trials/store/atomicfile"
)

// Incoming is a bundle from elsewhere that has passed every check of its own. It must be closed.
type Incoming struct {
	*bundle.Bundle
	path string
	file WholeFile
}

// Close closes the file.
func (b *Incoming) Close() error { return b.file.Close() }

// OpenBundle reads a bundle: its signature, every hash, every chain of entries and every sealed order are checked. If from is a
// fingerprint, only a bundle signed by that site is accepted.
func (h *Host) OpenBundle(ctx context.Context, path, from string) (*Incoming, error) {
	f, size, err := OpenWhole(ctx, path)
	if err != nil {
		return nil, err
	}
	b, err := Interruptibly(ctx, func() (*bundle.Bundle, error) {
		return bundle.ReadIf(f, size, func(b *bundle.Bundle) error { return h.wanted(b, from) })
	})
	if err != nil {
		return nil, errors.Join(Rejected(fmt.Errorf("%s: %w", path, err), "nothing was taken; ask the sender for the bundle again"), f.Close())
	}
	return &Incoming{b, path, f}, nil
}

// Imported describes what was imported.
type Imported struct {
	Schema      string      `json:"schema"`
	Kind        bundle.Kind `json:"kind"`
	Fingerprint string      `json:"fingerprint"`
	Study       string      `json:"study"`
	store.Merged
	Excerpts int `json:"excerpts"`
	// Foreign are the plans that were not made in this study.
	Foreign []foreignPlan `json:"foreign_plans"`
	Absences
}

// wanted refuses a bundle by what its manifest says, before its content is read.
func (h *Host) wanted(b *bundle.Bundle, from string) error {
	if from != "" && from != b.Fingerprint() {
		return fmt.Errorf("signed by site %s, not by %s", b.Fingerprint(), from)
	}
	// Clocks and their zones are wrong by hours, not by days.
	if made := b.Manifest.Created; made.After(h.now().Add(48 * time.Hour)) {
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

// maxForeignAlpha is the largest level of a plan of another site that is accepted. Common practice, no source: nobody claims an effect at a
// risk of more than one in ten.
const maxForeignAlpha = 0.1

// foreignPlans names the plans that were made neither in this study nor taken in before. It refuses a plan whose level exceeds
// maxForeignAlpha.
func (s *Study) foreignPlans(ctx context.Context, plans []trials.Plan) ([]foreignPlan, error) {
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

// Import joins the sessions of another site to the study they belong to.
func (s *Study) Import(ctx context.Context, b *Incoming) (Imported, error) {
	var none Imported
	path := b.path
	of, err := s.Study(ctx)
	if err != nil {
		return none, err
	}
	if of.ID != b.Manifest.Study {
		return none, Rejected(fmt.Errorf("%s: results of another study, %q", path, b.Manifest.Title),
			"results are joined where their plan was made: send a kit, and import what comes back")
	}
	if err := s.checkEscrow(b.Bundle); err != nil {
		return none, Rejected(fmt.Errorf("%s: %w", path, err), "nothing was taken: send a kit, and import what comes back")
	}
	foreign, err := s.foreignPlans(ctx, b.Content.Plans)
	if err != nil {
		return none, Rejected(fmt.Errorf("%s: %w", path, err), "nothing was taken; results of this study's own plans are: send a kit")
	}
	sum, err := hashUntil(ctx, path)
	if err != nil {
		return none, err
	}
	m := store.Merge{Bundle: sum, Site: b.Fingerprint(), Plans: b.Content.Plans, Begun: begunAt(b.Bundle)}
	name := func(id string) string { return store.ForeignListener(id, m.Site) }
	for _, l := range b.Content.Listeners {
		m.Listeners = append(m.Listeners, Listener{ID: name(l.ID), Group: l.Group, Years: l.Years, Hearing: l.Hearing,
			Transducer: l.Transducer, Room: l.Room, Consent: l.Consent, Simulated: l.Simulated})
	}
	for i, v := range b.Content.Sessions {
		m.Sessions = append(m.Sessions, store.MergeSession{ID: v.ID, Listener: name(v.Listener), Device: v.Device, PlanHash: v.Plan, Marks: v.Marks,
			Entries: v.Entries, Outcome: &b.Outcomes[i]})
	}
	count, err := s.record.Merge(ctx, m)
	if err != nil {
		return none, InStudy(fmt.Errorf("%s: %w", path, err))
	}
	for _, p := range foreign {
		s.warn("plan %q (%s, %d scored trials, alpha %g) was not made in this study: its results are judged by this study's rules, not by its own",
			p.Plan, p.Design, p.Trials, p.Alpha)
	}
	for _, v := range b.Content.Sessions {
		for _, m := range saidAgainst(v.Marks) {
			s.warn("session %s: %s", ShortID(v.ID), m.Says)
		}
	}
	absent, err := s.absences(ctx)
	if err != nil {
		return none, err
	}
	return Imported{Schema: importSchema, Kind: bundle.Results, Fingerprint: b.Fingerprint(), Study: of.ID, Merged: count, Foreign: foreign, Absences: absent}, nil
}

// checkEscrow opens the seeds that were sealed to this site before the first trial, and demands that each is the seed that the session
// revealed at its end.
func (h *Host) checkEscrow(b *bundle.Bundle) error {
	site, err := h.siteKey()
	if err != nil {
		return err
	}
	if bundle.Fingerprint(site.Public().(ed25519.PublicKey)) == b.Fingerprint() {
		return nil // this site's own, from before it was copied
	}
	key, err := h.SealingKey()
	if err != nil {
		return err
	}
	for _, v := range b.Content.Sessions {
		if len(v.Escrow) == 0 {
			return fmt.Errorf("session %q was begun in a copy of the study and not in a kit: its seed was not sealed to this site", v.ID)
		}
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

const importSchema = "heardiff.import/1"

// ImportKit makes in dir, which must be missing or empty, a study that carries the sender's, with the kit's plan and audio.
func (h *Host) ImportKit(ctx context.Context, dir string, b *Incoming) (Imported, error) {
	var none Imported
	if HoldsStudy(dir) || dir == "." {
		return none, advised(Rejection, errors.New("a kit makes a study of its own"), phrasef("name a new folder for it: %v DIR", OptionDir))
	}
	origin, err := hex.DecodeString(b.Manifest.SealKey)
	if err != nil {
		return none, Rejected(fmt.Errorf("the kit's sealing key: %w", err), "")
	}
	if err := folderFree(dir); err != nil { // before any work is done
		return none, err
	}
	if err := h.makeKitStudy(ctx, dir, b.Bundle, origin); err != nil {
		if _, known := FaultOf(err); known {
			return none, err
		}
		return none, Rejected(err, "nothing was taken; ask the sender for the kit again")
	}
	if err := h.noteKit(b.Bundle, dir); err != nil {
		return none, err
	}
	return Imported{Schema: importSchema, Kind: bundle.Kit, Fingerprint: b.Fingerprint(), Study: b.Manifest.Study,
		Excerpts: len(b.Content.Excerpts), Merged: store.Merged{Plans: len(b.Content.Plans)}}, nil
}

// makeKitStudy makes the study next to its place and moves it there when it is complete. dir must be missing or empty.
func (h *Host) makeKitStudy(ctx context.Context, dir string, b *bundle.Bundle, origin []byte) error {
	atomicfile.Sweep(filepath.Dir(dir))
	making, err := atomicfile.NewFolderWithParents(filepath.Dir(dir))
	if err != nil {
		return err
	}
	defer making.Discard()
	s, err := Create(ctx, making.Path, About{ID: b.Manifest.Study, Title: b.Manifest.Title, OriginKey: origin}, h)
	if err != nil {
		return inNameOf(dir, making.Path, err)
	}
	if err := s.fillFromKit(ctx, b); err != nil {
		return inNameOf(dir, making.Path, errors.Join(err, s.record.Discard(ctx)))
	}
	if err := folderFree(dir); err != nil { // before the record is closed: on a server it could not be discarded afterwards
		return errors.Join(err, s.record.Discard(ctx))
	}
	if err := s.Close(); err != nil {
		return err
	}
	if err := making.Place(dir); err != nil {
		return kitPlaceTaken(dir, err)
	}
	return nil
}

// folderFree refuses a place for a new study that is occupied by anything but an empty folder.
func folderFree(dir string) error {
	if err := outsideOthers(dir); err != nil {
		return err
	}
	left, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(left) == 0 {
		return nil
	}
	return kitPlaceTaken(dir, fs.ErrExist)
}

// kitPlaceTaken says where a kit could not be placed, if that failed because of what is there.
func kitPlaceTaken(dir string, err error) error {
	if errors.Is(err, fs.ErrExist) {
		return advised(Misuse, &PhrasedError{phrasef("%v %s: something else is there", OptionDir, dir)}, phrasef("name a new folder for the kit: %v DIR", OptionDir))
	}
	return err
}

func (s *Study) fillFromKit(ctx context.Context, b *bundle.Bundle) error {
	for _, c := range b.Content.Chains {
		if err := CheckName("chain", c.Name); err != nil {
			return err
		}
		if err := s.record.AddChain(ctx, Chain(c)); err != nil {
			return err
		}
	}
	for _, e := range b.Content.Excerpts {
		if err := CheckName("excerpt", e.Name); err != nil {
			return err
		}
		stored := Excerpt{Name: e.Name, Music: e.Music, StartS: e.StartS, Seconds: e.Seconds, RateHz: e.RateHz, Result: e.Result}
		for _, p := range e.Presentations {
			// The name in the folder is the hash: nothing from outside becomes part of a path.
			path := "audio/excerpts/kit-" + p.SHA256[:16] + ".wav"
			if err := unpack(s.Path(path), b, p.SHA256); err != nil {
				return err
			}
			stored.Presentations = append(stored.Presentations, Presentation{Excerpt: e.Name, Chain: p.Chain,
				Treatment: p.Treatment, Dose: p.Dose, Path: path, SHA256: p.SHA256, Result: p.Result})
		}
		if err := s.record.SaveExcerpt(ctx, stored); err != nil {
			return err
		}
	}
	for _, p := range b.Content.Plans {
		if err := s.record.AddPlan(ctx, p); err != nil {
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
