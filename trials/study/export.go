package study

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/link"
)

// draft begins a bundle of the study.
func (s *Study) draft(ctx context.Context, kind bundle.Kind) (bundle.Draft, error) {
	of, err := s.Study(ctx)
	if err != nil {
		return bundle.Draft{}, err
	}
	head, err := s.Head(ctx)
	return bundle.Draft{Kind: kind, Study: of.ID, Title: of.Title, Created: s.now(), Record: head.Hash, Program: s.Program}, err
}

// Kit collects a plan and its excerpts, without answers, for another machine.
func (s *Study) Kit(ctx context.Context, plan string) (bundle.Draft, error) {
	d, err := s.draft(ctx, bundle.Kit)
	if err != nil {
		return d, err
	}
	key, err := s.SealingKey()
	if err != nil {
		return d, err
	}
	d.SealKey = key.PublicKey().Bytes()
	d.Content, err = s.kitContent(ctx, plan)
	d.Audio = func(sum string) (io.ReadCloser, error) {
		p, err := s.record.PresentationBySHA(ctx, sum)
		if err != nil {
			return nil, err
		}
		if _, err := s.checkRecorded(ctx, recordedFile{path: p.Path, sum: sum}); err != nil {
			return nil, err
		}
		return os.Open(s.Path(p.Path)) // Write hashes the files that it reads a second time
	}
	return d, err
}

// Outgoing collects the sessions of this site that have ended, with their plans and listeners; anonymous leaves out what could reveal who
// listened, or when.
func (s *Study) Outgoing(ctx context.Context, anonymous bool) (bundle.Draft, error) {
	d, err := s.draft(ctx, bundle.Results)
	if err != nil {
		return d, err
	}
	if anonymous {
		d.Created = d.Created.UTC().Truncate(24 * time.Hour)
	}
	d.Content, err = s.resultsContent(ctx, anonymous)
	if err == nil && len(d.Content.Sessions) == 0 {
		err = Rejected(errors.New("no session of this site has ended: there are no results to send"), "")
	}
	return d, err
}

// Export writes a bundle, signed with this site's key, whose fingerprint it returns.
func (s *Study) Export(w io.Writer, d bundle.Draft) (fingerprint string, err error) {
	key, err := s.siteKey()
	if err != nil {
		return "", err
	}
	return bundle.Fingerprint(key.Public().(ed25519.PublicKey)), bundle.Write(w, d, key)
}

// kitContent is one plan with its chains and the excerpts it plays.
func (s *Study) kitContent(ctx context.Context, id string) (bundle.Content, error) {
	var c bundle.Content
	p, err := s.Plan(ctx, id)
	if err != nil {
		return c, InStudy(err)
	}
	if p.SingleBlind {
		return c, Rejected(fmt.Errorf("plan %q is run by hand: there is no audio to send", id), "")
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

// resultsContent collects every session of this site that has ended.
func (s *Study) resultsContent(ctx context.Context, anonymous bool) (bundle.Content, error) {
	var c bundle.Content
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return c, err
	}
	known, err := s.watch(ctx)
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
			continue // from another site, or still running
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
		marks, err := known.marks(v.ID, v.Site, entries)
		if err != nil {
			return c, err
		}
		device := v.Device
		if anonymous {
			device, entries = "", trials.Withhold(entries)
		}
		c.Sessions = append(c.Sessions, bundle.Session{ID: v.ID, Plan: plans[v.Plan], Listener: v.Listener, Device: device, Escrow: v.Escrow, Marks: codesOf(marks), Entries: entries})
	}
	return c, nil
}

// codesOf returns marks as they are sent: without the folders and dates of this machine, each once.
func codesOf(marks []link.Mark) (codes []trials.Mark) {
	for _, m := range marks {
		if !slices.Contains(codes, m.Code) {
			codes = append(codes, m.Code)
		}
	}
	return codes
}

// begunOf names a session in the list of all that were begun.
func begunOf(v Session, entries []trials.Entry) bundle.Begun {
	b := bundle.Begun{Number: v.Number, Session: v.ID}
	if len(entries) > 0 {
		b.Seal, b.Ended = entries[0].Note, entries[len(entries)-1].Kind == trials.EntryEnd
	}
	return b
}

func packListener(l Listener, anonymous bool) bundle.Listener {
	if anonymous {
		return bundle.Listener{ID: l.ID, Group: l.Group, Simulated: l.Simulated}
	}
	return bundle.Listener{ID: l.ID, Group: l.Group, Years: l.Years, Hearing: l.Hearing, Transducer: l.Transducer,
		Room: l.Room, Consent: l.Consent, Simulated: l.Simulated}
}
