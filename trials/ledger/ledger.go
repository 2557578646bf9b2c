// Package ledger records, outside every study, which sessions an account began, where, and how far they progressed.
//
// A study is a folder: if it is copied, a running session can be finished in the copy, which reveals the order of the
// original; if its record is truncated, an ended session can be run again by somebody who knows its order. The ledger is kept
// with the key that opens the seals and updated by every session, so that a session is known to have continued, or to have
// been revealed, elsewhere. It proves nothing against the owner of the account, who also owns the key.
//
// There is one file for each session. It is replaced atomically, so that a crash leaves the old or the new one.
package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"heardiff/trials"
	"heardiff/trials/store/atomicfile"
)

// Place is the record of a study, and where it is.
type Place struct {
	Study string `json:"study"` // its id, which a copy shares
	// Record identifies the record itself; a copy has another identity. See store.Identity.
	Record string `json:"record"`
	Folder string `json:"folder"`
}

// Is reports whether the place is the record with that identity. A place recorded before identities included the time at which a file was
// created is recognised by the rest of its identity.
func (p Place) Is(record string) bool {
	return p.Record == record || p.Record != "" && strings.HasPrefix(record, p.Record+":")
}

// Sitting is a place at which a session was begun or resumed, and the time at which that first happened.
type Sitting struct {
	Place
	At time.Time `json:"at"`
}

// State says how far a session has progressed.
type State string

// The states. The order of a session is revealed from Ending on.
const (
	Begun   State = "begun" // nothing is in its journal yet
	Running State = "running"
	Ending  State = "ending" // its last entry, which contains the seed, is about to be written
	Ended   State = "ended"
)

// Line is what the ledger knows of a session.
type Line struct {
	Session string `json:"session"`
	// Sittings lists the places in order, one for each change of place; it is never empty.
	Sittings []Sitting `json:"sittings"`
	State    State     `json:"state"`
	// Number and Hash identify the newest entry that was written; 0 and "" before the first.
	Number int    `json:"number"`
	Hash   string `json:"hash"`
}

// Last returns the place at which the session was last begun or resumed.
func (l Line) Last() Sitting { return l.Sittings[len(l.Sittings)-1] }

// In reports whether the journal contains the newest entry that was written. It does not if entries were removed, or the
// session continued in a copy.
func (l Line) In(journal []trials.Entry) bool {
	return l.Number == 0 || len(journal) >= l.Number && journal[l.Number-1].Hash == l.Hash
}

// Ledger is a folder of lines. It is safe for use by many processes.
type Ledger struct {
	dir string
	now func() time.Time
}

const sinceName = "since"

// Open returns the ledger in dir. It creates nothing before the first session begins.
func Open(dir string, now func() time.Time) *Ledger { return &Ledger{dir, now} }

// Since returns when the ledger was begun: it knows every session that this account began after that. ok is false if there is
// no ledger yet.
func (l *Ledger) Since() (at time.Time, ok bool, err error) {
	err = l.read(sinceName, &at)
	if errors.Is(err, fs.ErrNotExist) {
		return at, false, nil
	}
	return at, err == nil, err
}

// begin creates the ledger's folder, accessible to this user only, and records the time. Files that killed processes left there are
// removed.
func (l *Ledger) begin() error {
	if err := os.MkdirAll(l.dir, 0o700); err != nil {
		return fmt.Errorf("make the ledger: %w", err)
	}
	atomicfile.Sweep(l.dir)
	if _, ok, err := l.Since(); err != nil || ok {
		return err
	}
	return l.exchange(sinceName, l.now().UTC())
}

// Line returns what is known about a session; ok is false if nothing is known.
func (l *Ledger) Line(session string) (line Line, ok bool, err error) {
	line, err = l.readLine(fileOf(session))
	if errors.Is(err, fs.ErrNotExist) {
		return Line{}, false, nil
	}
	return line, err == nil, err
}

// readLine reads the line in a file. A file that does not hold the line of the session that it is named for is damaged.
func (l *Ledger) readLine(name string) (Line, error) {
	var line Line
	if err := l.read(name, &line); err != nil {
		return Line{}, err
	}
	if fileOf(line.Session) != name || len(line.Sittings) == 0 || line.Number < 0 {
		return Line{}, fmt.Errorf("read the ledger: %s: the line is damaged", name)
	}
	return line, nil
}

// Lines returns the lines of all sessions that were begun or resumed in the record named.
func (l *Ledger) Lines(record string) ([]Line, error) {
	names, err := filepath.Glob(filepath.Join(l.dir, "*.json"))
	if err != nil {
		return nil, err
	}
	var all []Line
	for _, name := range names {
		line, err := l.readLine(filepath.Base(name))
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(line.Sittings, func(s Sitting) bool { return s.Is(record) }) {
			all = append(all, line)
		}
	}
	return all, nil
}

// Sit records that a session is begun, or resumed, at a place.
func (l *Ledger) Sit(session string, at Place) error {
	if err := l.begin(); err != nil {
		return err
	}
	return l.change(session, func(line *Line) {
		if line.Session == "" {
			line.Session, line.State = session, Begun
		}
		if len(line.Sittings) == 0 || !line.Last().Is(at.Record) {
			line.Sittings = append(line.Sittings, Sitting{at, l.now().UTC()})
		}
	})
}

// TakeKit records that the kit of a study is opened at a place, and returns where it was opened before.
func (l *Ledger) TakeKit(study string, at Place) (before []Sitting, err error) {
	if err := l.begin(); err != nil {
		return nil, err
	}
	release, err := l.lock()
	if err != nil {
		return nil, err
	}
	defer release()
	name := "kit-" + strings.TrimSuffix(fileOf(study), ".json")
	if err := l.read(name, &before); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	return before, l.exchange(name, append(slices.Clone(before), Sitting{at, l.now().UTC()}))
}

// Journal returns a journal that passes entries on to inner and records their hashes in the ledger. The end of a session is
// recorded before its last entry is passed on, so that no order is revealed without a trace.
func (l *Ledger) Journal(inner trials.Journal) trials.Journal { return journal{l, inner} }

type journal struct {
	ledger *Ledger
	inner  trials.Journal
}

// Append implements trials.Journal.
func (j journal) Append(e trials.Entry) error {
	if e.Kind == trials.EntryEnd {
		if err := j.ledger.change(e.Session, func(line *Line) { line.State = Ending }); err != nil {
			return err
		}
	}
	if err := j.inner.Append(e); err != nil {
		return err
	}
	// The entry is stored even if the ledger fails: a ledger that lags behind the journal does no harm.
	_ = j.ledger.change(e.Session, func(line *Line) {
		if line.Number, line.Hash, line.State = e.Number, e.Hash, Running; e.Kind == trials.EntryEnd {
			line.State = Ended
		}
	})
	return nil
}

// change reads a session's line, modifies it and writes it back.
func (l *Ledger) change(session string, do func(line *Line)) error {
	release, err := l.lock()
	if err != nil {
		return err
	}
	defer release()
	line, _, err := l.Line(session)
	if err != nil {
		return err
	}
	do(&line)
	return l.exchange(fileOf(session), line)
}

// fileOf returns the name of a session's file, a hash: no text from a study becomes part of a path.
func fileOf(session string) string {
	sum := sha256.Sum256([]byte(session))
	return hex.EncodeToString(sum[:16]) + ".json"
}

// maxFile is the largest file of a ledger that is read: a hundred thousand changes of place.
const maxFile = 64 << 20

func (l *Ledger) read(name string, v any) error {
	data, err := atomicfile.ReadSmall(filepath.Join(l.dir, name), maxFile)
	if err != nil {
		return fmt.Errorf("read the ledger: %w", err)
	}
	if err := json.Unmarshal(data, v); err != nil {
		return fmt.Errorf("read the ledger: %s: %w", name, err)
	}
	return nil
}

// exchange replaces a file atomically and durably.
func (l *Ledger) exchange(name string, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write the ledger: %w", err)
	}
	f, err := atomicfile.NewFile(l.dir)
	if err != nil {
		return fmt.Errorf("write the ledger: %w", err)
	}
	defer f.Discard()
	if err := f.Chmod(0o600); err != nil { // for this user alone
		return fmt.Errorf("write the ledger: %w", err)
	}
	if _, err := f.Write(data); err != nil {
		return fmt.Errorf("write the ledger: %w", err)
	}
	if err := f.Place(filepath.Join(l.dir, name), true); err != nil {
		return fmt.Errorf("write the ledger: %w", err)
	}
	return nil
}
