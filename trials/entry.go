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
	EntryVoid   EntryKind = "void"   // the trial is void, Note says why; it is asked anew later
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
	// Trial counts the session's trials from 1, void ones included; 0 where an entry is of no trial.
	Trial      int    `json:"trial"`
	Answer     Answer `json:"answer"`
	Confidence int    `json:"confidence"` // 1 to 4, 0 = not given
	// Seconds is the time from the trial's first offer to its confirmed answer.
	Seconds float64 `json:"seconds"`
	// Switches counts the key presses that chose what to hear.
	Switches int       `json:"switches"`
	Note     string    `json:"note"`
	At       time.Time `json:"at"`
	// Heard counts, label by label in the order of the design, the frames in which it alone sounded at full level in this
	// trial; Frames all that the device took while the trial was open, since it was offered in this sitting; RateHz
	// is how many there are to a second. All are left out where no sample clock ran. They follow from the keys that were
	// pressed, never from what was behind a key.
	Heard  []int64 `json:"heard,omitempty"`
	Frames int64   `json:"frames,omitempty"`
	RateHz int     `json:"rate_hz,omitempty"`
	// Device is what the listener sat down to hear through, Silent whether nothing sounds there: of EntryOpen alone.
	Device string `json:"device,omitempty"`
	Silent bool   `json:"silent,omitempty"`
	// Seat says who sits down to which study through what: of EntryBegin alone; nil in sessions of before seals covered it.
	Seat *Seat `json:"seat,omitempty"`
	// Previous is the Hash of the entry before, Hash the SHA-256 over all the other fields; hexadecimal.
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

// ReadHashed returns the entry with the given hash whose Hashed is text. It errors for a text that is not exactly that of an
// entry; whether the hash is its own, Whole says.
func ReadHashed(text, hash string) (Entry, error) {
	var e Entry
	if err := json.Unmarshal([]byte(text), &e); err != nil {
		return e, fmt.Errorf("cannot be read: %w", err)
	}
	if e.Hash = hash; !e.dated() || e.Hashed() != text {
		return e, errors.New("cannot be read: it is not written as an entry is")
	}
	return e, nil
}

// Digest returns the SHA-256, hexadecimal, over Hashed.
func (e Entry) Digest() string {
	sum := sha256.Sum256([]byte(e.Hashed()))
	return hex.EncodeToString(sum[:])
}

// dated reports whether the time of e has a JSON form, to be hashed.
func (e Entry) dated() bool { year := e.At.UTC().Year(); return year >= 0 && year <= 9999 }

// Whole reports whether Hash is that of the entry as it is.
func (e Entry) Whole() bool { return e.dated() && e.Digest() == e.Hash }

// CheckChain returns an error that names the first entry which was changed, removed, added or moved.
func CheckChain(entries []Entry) error {
	previous := ""
	for i, e := range entries {
		switch {
		case e.Number != i+1:
			return fmt.Errorf("entry %d stands where entry %d belongs: one was removed, added or moved", e.Number, i+1)
		case e.Session != entries[0].Session:
			return fmt.Errorf("entry %d belongs to session %q", e.Number, e.Session)
		case !e.dated():
			return fmt.Errorf("entry %d bears an impossible time", e.Number)
		case e.Previous != previous:
			return fmt.Errorf("entry %d does not follow the entry before it: one was changed or moved", e.Number)
		case !e.Whole():
			return fmt.Errorf("entry %d was changed after it was written", e.Number)
		}
		previous = e.Hash
	}
	return nil
}

// Journal keeps entries. Append returns only when the entry is durable; after an error the session stays where
// it was.
type Journal interface {
	Append(Entry) error
}
