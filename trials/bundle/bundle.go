// Package bundle exchanges plans and results between sites in one signed file.
//
// A bundle is a zip archive of stored (never compressed) members, so that no small file can grow into a large one:
//
//	manifest.json   what the other members are: name, size, SHA-256; who made it; of which study
//	signature       the maker's Ed25519 signature of manifest.json, 64 bytes
//	content.json    plans, listeners, sessions with their chained entries, chains and excerpts
//	audio/SHA256    prepared excerpts, in a kit
//
// A results bundle contains sessions that have ended; a kit contains what another site needs to listen, and no answers.
// Read trusts nothing: names, sizes, hashes, signature, versions, plans, chains of entries and sealed orders are all
// checked before anything is returned. Whether to trust the key that signed is up to the reader, by its fingerprint.
//
// The types of the content repeat fields of the record on purpose: what is signed, and what an anonymous bundle tells, changes only here.
package bundle

import (
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"heardiff/trials"
)

// Schema is the version of the format that this package reads and writes.
const Schema = "heardiff.bundle/1"

// Errors a caller branches on.
var (
	// ErrDamaged is wrapped where a bundle is not intact: truncated, changed, or not a bundle at all.
	ErrDamaged = errors.New("the bundle is damaged or was changed")
	// ErrVersion is wrapped for a bundle of another version.
	ErrVersion = errors.New("the bundle is of another version")
	// ErrSite is wrapped, with ErrRecord, for a session that was begun under another key than the one that signs.
	ErrSite = errors.New("it was not begun at the site that signed")
	// ErrRecord is wrapped where a record in a correctly signed bundle does not match its own seal.
	ErrRecord = errors.New("a record in the bundle was edited")
)

// Limits of what Read accepts (judgement, no source; TestADirectoryWithoutEndIsRefused and TestExcerptsThatCannotBeAreRefused hold them).
const (
	MaxBytes   = 4 << 30 // the whole file
	MaxContent = 1 << 30 // content.json
	MaxMembers = 10_000

	maxSeconds = 86_400    // of an excerpt, and from the beginning of its music
	maxRateHz  = 1_000_000 // no audio file is faster
)

// Kind says what a bundle is for.
type Kind string

// The kinds.
const (
	Results Kind = "results" // sessions that have ended
	Kit     Kind = "kit"     // a plan and its audio, to listen elsewhere
)

// Manifest is the signed part.
type Manifest struct {
	Schema string `json:"schema"`
	Kind   Kind   `json:"kind"`
	Study  string `json:"study"` // the study's id
	Title  string `json:"title"`
	Site   string `json:"site"` // the maker's public key, hexadecimal
	// SealKey is the X25519 public key, hexadecimal, to which sessions of a kit seal their seeds.
	SealKey string    `json:"seal_key,omitempty"`
	Created time.Time `json:"created"`
	// Record is the head of the study's record when the bundle was made, hexadecimal; "" where none was kept.
	Record string `json:"record,omitempty"`
	// Program is the name and version of the program that made the bundle; "" where it did not say.
	Program string   `json:"program,omitempty"`
	Members []Member `json:"members"`
}

// Member is one file of the bundle.
type Member struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Content is what is exchanged.
type Content struct {
	Plans     []trials.Plan `json:"plans"`
	Chains    []Chain       `json:"chains"`
	Excerpts  []Excerpt     `json:"excerpts"`
	Listeners []Listener    `json:"listeners"`
	Sessions  []Session     `json:"sessions"`
	// Begun lists every session of the study that sends results; nil in old bundles, which have no such list.
	Begun []Begun `json:"begun,omitempty"`
}

// Chain is a chain of the study.
type Chain struct {
	Name  string   `json:"name"`
	About string   `json:"about"`
	Cost  *float64 `json:"cost"`
	Role  string   `json:"role"`
	After string   `json:"after,omitempty"` // the chain that feeds it, "" where none is declared
}

// Excerpt is a prepared stretch of music.
type Excerpt struct {
	Name          string          `json:"name"`
	Music         string          `json:"music"`
	StartS        float64         `json:"start_s"`
	Seconds       float64         `json:"seconds"`
	RateHz        int             `json:"rate_hz"`
	Result        json.RawMessage `json:"result"`
	Presentations []Presentation  `json:"presentations"`
}

// Presentation is one prepared file; its audio is the member audio/SHA256.
type Presentation struct {
	Chain     string          `json:"chain"`
	Treatment string          `json:"treatment"`
	Dose      float64         `json:"dose"`
	SHA256    string          `json:"sha256"`
	Result    json.RawMessage `json:"result"`
}

// Listener is a pseudonym and, unless the bundle is anonymous, what the listener chose to disclose.
type Listener struct {
	ID         string   `json:"id"`
	Group      string   `json:"group"`
	Years      *float64 `json:"years"`
	Hearing    string   `json:"hearing"`
	Transducer string   `json:"transducer"`
	Room       string   `json:"room"`
	Consent    string   `json:"consent"`
	Simulated  bool     `json:"simulated"`
}

// Session is a session that has ended, with every entry.
type Session struct {
	ID       string `json:"id"`
	Plan     string `json:"plan"` // trials.Plan.HashText
	Listener string `json:"listener"`
	Device   string `json:"device"`
	// Escrow is the seed, sealed before the first trial to the key of the site that made the kit.
	Escrow []byte `json:"escrow,omitempty"`
	// Marks are the doubts about its blindness at the site that sends it; none in old bundles, which have no marks.
	Marks   []trials.Mark  `json:"marks,omitempty"`
	Entries []trials.Entry `json:"entries"`
}

// Fingerprint returns the first 16 hexadecimal digits of the SHA-256 of a public key: short enough to read out.
func Fingerprint(site ed25519.PublicKey) string {
	sum := sha256.Sum256(site)
	return hex.EncodeToString(sum[:8])
}

// SessionSuffix is the suffix of the ids of sessions begun at the site with the given key. The id is part of every entry of
// the session and of its seal, so that no site can pass off another's session as its own.
func SessionSuffix(site ed25519.PublicKey) string { return "-" + Fingerprint(site)[:8] }

func (c Chain) check() error {
	return cmp.Or(trials.CheckName("chain", c.Name), trials.CheckText("chain "+c.Name, c.About), trials.CheckText("role", c.Role))
}

func (e Excerpt) check() error {
	if err := cmp.Or(trials.CheckName("excerpt", e.Name), trials.CheckText("music", e.Music)); err != nil {
		return err
	}
	if len(e.Presentations) > MaxPresentations {
		return fmt.Errorf("excerpt %q: %d presentations, at most %d are taken", e.Name, len(e.Presentations), MaxPresentations)
	}
	for _, p := range e.Presentations {
		if err := cmp.Or(trials.CheckName("chain", p.Chain), trials.CheckText("treatment", p.Treatment)); err != nil {
			return err
		}
		if !isSHA256(p.SHA256) {
			return fmt.Errorf("excerpt %q: %q is no SHA-256", e.Name, p.SHA256)
		}
	}
	switch {
	case !(e.StartS >= 0 && e.StartS <= maxSeconds):
		return fmt.Errorf("excerpt %q: it begins at %g s", e.Name, e.StartS)
	case !(e.Seconds > 0 && e.Seconds <= maxSeconds):
		return fmt.Errorf("excerpt %q: it lasts %g s", e.Name, e.Seconds)
	case e.RateHz <= 0 || e.RateHz > maxRateHz:
		return fmt.Errorf("excerpt %q: a sampling rate of %d Hz", e.Name, e.RateHz)
	}
	return nil
}

func (l Listener) check() error {
	if err := trials.CheckName("listener", l.ID); err != nil {
		return err
	}
	for what, text := range map[string]string{"group": l.Group, "hearing": l.Hearing, "transducer": l.Transducer, "room": l.Room, "consent": l.Consent} {
		if err := trials.CheckText("listener "+l.ID+": "+what, text); err != nil {
			return err
		}
	}
	return nil
}

func (s Session) check() error {
	if len(s.Marks) > MaxMarks {
		return fmt.Errorf("session %q: %d marks, at most %d are taken", s.ID, len(s.Marks), MaxMarks)
	}
	for _, m := range s.Marks {
		if err := m.Validate(); err != nil {
			return fmt.Errorf("session %q: %w", s.ID, err)
		}
	}
	return cmp.Or(trials.CheckName("session", s.ID), trials.CheckText("session "+s.ID+": device", s.Device))
}

// plausible checks every item by itself, as Read does while reading.
func (c Content) plausible(until time.Time) error {
	if err := cmp.Or(checked(c.Chains), checked(c.Excerpts), checked(c.Listeners), checked(c.Sessions)); err != nil {
		return err
	}
	for _, v := range c.Sessions {
		for _, e := range v.Entries {
			if err := e.Plausible(until); err != nil {
				return fmt.Errorf("%w: session %q: %w", ErrRecord, v.ID, err)
			}
		}
	}
	return nil
}

// checkSeat checks listener and study of a session against its sealed seat. Old sessions have no seat.
func (s Session) checkSeat(study string) error {
	seat := s.Entries[0].Seat
	switch {
	case seat == nil:
		return nil
	case seat.Listener != s.Listener:
		return fmt.Errorf("it was sealed for listener %q, not for %q", seat.Listener, s.Listener)
	case seat.Study != study:
		return errors.New("it was sealed for another study")
	}
	return nil
}

// Edits lists all edited records of a bundle: one error that wraps ErrRecord for each, in the bundle's order.
type Edits []error

// Error describes the first, and says how many more there are.
func (e Edits) Error() string {
	if len(e) == 1 {
		return e[0].Error()
	}
	return fmt.Sprintf("%v (and %d more)", e[0], len(e)-1)
}

// Unwrap returns all of them.
func (e Edits) Unwrap() []error { return e }

// edits returns the errors that are not nil as Edits, or nil if there are none.
func edits(all []error) error {
	var e Edits
	for _, err := range all {
		if err != nil {
			e = append(e, err)
		}
	}
	if len(e) == 0 {
		return nil
	}
	return e
}

// check checks the records of the content against each other; study is the id of their study.
func (c Content) check(site ed25519.PublicKey, study string) error {
	plans := map[string]trials.Plan{}
	for _, p := range c.Plans {
		if err := p.Validate(); err != nil {
			return fmt.Errorf("%w: plan %q: %w", ErrRecord, p.ID, err)
		}
		plans[p.HashText()] = p
	}
	listeners := map[string]bool{}
	for _, l := range c.Listeners {
		if l.ID == "" || listeners[l.ID] {
			return fmt.Errorf("%w: listener %q is missing or appears twice", ErrRecord, l.ID)
		}
		listeners[l.ID] = true
	}
	seen := map[string]bool{}
	var faults []error
	for _, s := range c.Sessions {
		if err := s.checkAgainst(plans, listeners, seen, site, study); err != nil {
			faults = append(faults, fmt.Errorf("%w: session %q: %w", ErrRecord, s.ID, err))
		}
		seen[s.ID] = true
	}
	if err := c.checkBegun(site); err != nil {
		faults = append(faults, err)
	}
	return edits(faults)
}

// checkAgainst checks a session against the rest of the bundle; seen holds the sessions before it.
func (s Session) checkAgainst(plans map[string]trials.Plan, listeners, seen map[string]bool, site ed25519.PublicKey, study string) error {
	_, known := plans[s.Plan]
	switch {
	case !strings.HasSuffix(s.ID, SessionSuffix(site)):
		return ErrSite
	case seen[s.ID]:
		return errors.New("it appears twice")
	case !known:
		return errors.New("its plan is not in the bundle, or was changed")
	case !listeners[s.Listener]:
		return fmt.Errorf("listener %q is not in the bundle", s.Listener)
	case len(s.Entries) == 0 || s.Entries[0].Session != s.ID:
		return errors.New("the entries are another session's")
	}
	return s.checkSeat(study)
}

// reveal recomputes every session, on all processors, and returns the results.
func (c Content) reveal() ([]trials.Summary, error) {
	plans := map[string]trials.Plan{}
	for _, p := range c.Plans {
		plans[p.HashText()] = p
	}
	all, errs := make([]trials.Summary, len(c.Sessions)), make([]error, len(c.Sessions))
	var work errgroup.Group
	work.SetLimit(runtime.GOMAXPROCS(0))
	for i, s := range c.Sessions {
		work.Go(func() error {
			r, err := trials.Reveal(plans[s.Plan], s.Entries)
			if err != nil {
				errs[i] = fmt.Errorf("%w: session %q: %w", ErrRecord, s.ID, err)
				return nil
			}
			all[i] = r.Summary()
			return nil
		})
	}
	if err := work.Wait(); err != nil {
		return nil, err
	}
	if err := edits(errs); err != nil {
		return nil, err
	}
	return all, nil
}
