package trials

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// EntryKind says what an entry of a session's journal records.
type EntryKind string

// The kinds of entry.
const (
	EntryBegin  EntryKind = "begin"  // the first: Note holds the commitment, in hexadecimal
	EntryOpen   EntryKind = "open"   // the listener sat down: the first time, or after a break or a fault
	EntryAnswer EntryKind = "answer" // a confirmed answer
	EntryVoid   EntryKind = "void"   // the trial is void, Note says why; a replacement follows later
	EntryFlag   EntryKind = "flag"   // something happened during the trial (an underrun, say); Note says what
	EntryRest   EntryKind = "rest"   // the listener rests
	EntryGiveUp EntryKind = "give-up"
	EntryEnd    EntryKind = "end" // the last: every trial has its answer; Note holds the seed, in hexadecimal
)

// Entry is one line of a session's journal. It holds what the listener did, never what was right.
type Entry struct {
	Session string    `json:"session"`
	Number  int       `json:"number"` // 1, 2, 3, …
	Kind    EntryKind `json:"kind"`
	// Trial numbers the session's trials from 1, void ones included; 0 for an entry that belongs to no trial.
	Trial      int    `json:"trial"`
	Answer     Answer `json:"answer"`
	Confidence int    `json:"confidence"` // 1 to 4; 0: not given
	// Seconds is the time from offering the trial to its confirmed answer.
	Seconds float64 `json:"seconds"`
	// Switches counts the key presses that chose what to hear.
	Switches int       `json:"switches"`
	Note     string    `json:"note"`
	At       time.Time `json:"at"`
	// Heard counts, for each label in the order of the design, the frames of this trial in which it alone sounded at full
	// level. Frames counts all frames that the device took since the trial was offered in this sitting, at RateHz frames per
	// second. All three are omitted where no sample clock ran. They depend on the keys pressed, never on what was behind a
	// key.
	Heard  []int64 `json:"heard,omitempty"`
	Frames int64   `json:"frames,omitempty"`
	RateHz int     `json:"rate_hz,omitempty"`
	// Device is the output of the sitting, Silent whether it makes no sound. Only in EntryOpen.
	Device string `json:"device,omitempty"`
	Silent bool   `json:"silent,omitempty"`
	// Seat says who listens, in which study and through what. Only in EntryBegin; nil in old sessions, whose seal does not
	// cover it.
	Seat *Seat `json:"seat,omitempty"`
	// Previous is the Hash of the entry before, Hash the SHA-256 over all other fields, both hexadecimal.
	Previous string `json:"previous"`
	Hash     string `json:"hash"`
}

// Hashed returns the text over which Hash is taken: the JSON of all fields of e, with an empty Hash.
func (e Entry) Hashed() string {
	e.Hash = ""
	e.At = e.At.UTC()
	data, err := json.Marshal(e)
	if err != nil {
		panic("trials: an entry that cannot be encoded: " + err.Error()) // plain fields: cannot happen
	}
	return string(data)
}

// ReadHashed returns the entry with the given hash whose Hashed is text. It is an error if text is not exactly the Hashed of
// an entry; Intact reports whether the hash matches.
func ReadHashed(text, hash string) (Entry, error) {
	var e Entry
	if err := json.Unmarshal([]byte(text), &e); err != nil {
		return e, fmt.Errorf("cannot be read: %w", err)
	}
	if e.Hash = hash; !e.dated() || e.Hashed() != text {
		return e, errors.New("cannot be read: not in the form of an entry")
	}
	return e, nil
}

// Digest returns the SHA-256 over Hashed, hexadecimal.
func (e Entry) Digest() string {
	sum := sha256.Sum256([]byte(e.Hashed()))
	return hex.EncodeToString(sum[:])
}

// lastYear is the last that RFC 3339 can write, in four digits.
const lastYear = 9999

// dated reports whether the time of e has a JSON form that can be hashed.
func (e Entry) dated() bool { year := e.At.UTC().Year(); return year >= 0 && year <= lastYear }

// Intact reports whether Hash is the digest of the entry.
func (e Entry) Intact() bool { return e.dated() && e.Digest() == e.Hash }

// CheckChain returns an error that names the first entry that was changed, removed, added or moved.
func CheckChain(entries []Entry) error {
	previous := ""
	for i, e := range entries {
		switch {
		case e.Number != i+1:
			return fmt.Errorf("entry %d is in the place of entry %d: one was removed, added or moved", e.Number, i+1)
		case e.Session != entries[0].Session:
			return fmt.Errorf("entry %d belongs to session %q", e.Number, e.Session)
		case !e.dated():
			return fmt.Errorf("entry %d has an impossible time", e.Number)
		case e.Previous != previous:
			return fmt.Errorf("entry %d does not follow the entry before it: one was changed or moved", e.Number)
		case !e.Intact():
			return fmt.Errorf("entry %d was changed after it was written", e.Number)
		}
		previous = e.Hash
	}
	return nil
}

// Journal stores entries. Append returns only when the entry is durable; after an error the session keeps its state.
type Journal interface {
	Append(Entry) error
}
