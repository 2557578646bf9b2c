package bundle

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
)

// Begun is a session of the study that sends results, ended or not, begun at its own site or imported from another. A bundle
// lists all of them, so that no session can be withheld unnoticed.
type Begun struct {
	Number  int    `json:"number"` // 1, 2, 3, … in the order in which the sessions began; one that is missing was removed
	Session string `json:"session"`
	// Seal is the commitment to its order, hexadecimal; "" where it was left before its first entry.
	Seal  string `json:"seal"`
	Ended bool   `json:"ended"`
}

// maxSessionID is the longest accepted id of a session, in bytes. A judgement, no source: this program's have 24.
// TestTheListOfSessionsBegunIsTrue holds it.
const maxSessionID = 64

func (b Begun) validate() error {
	raw, err := hex.DecodeString(b.Seal)
	switch {
	case b.Number < 1 || b.Number > MaxSessions:
		return fmt.Errorf("session begun under the number %d", b.Number)
	case b.Session == "" || len(b.Session) > maxSessionID:
		return fmt.Errorf("session number %d has no id, or a long one", b.Number)
	case b.Seal != "" && (err != nil || len(raw) != sha256.Size):
		return fmt.Errorf("session number %d: %.40q is no seal", b.Number, b.Seal)
	}
	return nil
}

// checkBegun compares the list of sessions begun with the sessions in the bundle.
func (c Content) checkBegun(site ed25519.PublicKey) error {
	if len(c.Begun) == 0 {
		return nil // an old bundle without such a list
	}
	listed, numbers := map[string]Begun{}, map[int]bool{}
	for _, b := range c.Begun {
		if _, twice := listed[b.Session]; twice || numbers[b.Number] {
			return fmt.Errorf("%w: session number %d was begun twice", ErrRecord, b.Number)
		}
		listed[b.Session], numbers[b.Number] = b, true
	}
	for _, s := range c.Sessions {
		b, known := listed[s.ID]
		if !known || !b.Ended || len(s.Entries) > 0 && b.Seal != s.Entries[0].Note {
			return fmt.Errorf("%w: session %q is not as the list of sessions begun has it", ErrRecord, s.ID)
		}
	}
	sent := map[string]bool{}
	for _, s := range c.Sessions {
		sent[s.ID] = true
	}
	for _, b := range c.Begun {
		if b.Ended && strings.HasSuffix(b.Session, SessionSuffix(site)) && !sent[b.Session] {
			return fmt.Errorf("%w: session number %d has ended and was not sent", ErrRecord, b.Number)
		}
	}
	return nil
}
