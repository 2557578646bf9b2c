package bundle

import (
	"crypto/ed25519"
	"encoding/hex"
	"fmt"
	"strings"
)

// Begun is a session of the study that sends results, whether it has ended or not, and whether it was begun at its site or taken
// in from another. All of them are named, so that no session that was begun can be kept back unseen.
type Begun struct {
	Number  int    `json:"number"` // 1, 2, 3, … in the order in which the sessions began; one that is missing was removed
	Session string `json:"session"`
	// Seal is the commitment to its order, hexadecimal; "" where it was left before its first entry.
	Seal  string `json:"seal"`
	Ended bool   `json:"ended"`
}

func (b Begun) validate() error {
	raw, err := hex.DecodeString(b.Seal)
	switch {
	case b.Number < 1 || b.Number > MaxSessions:
		return fmt.Errorf("session begun under the number %d", b.Number)
	case b.Session == "" || len(b.Session) > 64:
		return fmt.Errorf("session number %d has no id, or a long one", b.Number)
	case b.Seal != "" && (err != nil || len(raw) != 32):
		return fmt.Errorf("session number %d: %.40q is no seal", b.Number, b.Seal)
	}
	return nil
}

// checkBegun holds the list of sessions begun against the sessions that came.
func (c Content) checkBegun(site ed25519.PublicKey) error {
	if len(c.Begun) == 0 {
		return nil // of before such lists were sent
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
