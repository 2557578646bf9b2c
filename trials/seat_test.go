package trials

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"testing"
	"time"
)

// sat returns the entries of an ended session with the given seat.
func sat(t *testing.T, seat Seat) []Entry {
	t.Helper()
	m := &memory{}
	at := time.Date(2030, 1, 2, 3, 4, 5, 0, time.UTC)
	s, err := Begin("s1", seat, testPlan(ABX, 3), Seed{5}, m, func() time.Time { return at })
	if err != nil {
		t.Fatal(err)
	}
	if err := s.GiveUp("enough"); err != nil {
		t.Fatal(err)
	}
	return m.entries
}

// Listener, study and device cannot be changed once sealed, even if all hashes are recomputed.
func TestTheSealCoversTheSeat(t *testing.T) {
	seat := NewSeat("study", "L1", "default, 48000 Hz")
	for name, change := range map[string]func(*Entry){
		"nothing":           func(*Entry) {},
		"device withheld":   func(e *Entry) { e.Seat = e.Seat.withheld() },
		"study":             func(e *Entry) { e.Seat.Study = "another" },
		"listener":          func(e *Entry) { e.Seat.Listener = "L2" },
		"device":            func(e *Entry) { e.Seat.Device = "null" },
		"device and digest": func(e *Entry) { *e.Seat = NewSeat("study", "L1", "null") },
		"salt":              func(e *Entry) { e.Seat.Salt = "" },
		"no seat":           func(e *Entry) { e.Seat = nil },
	} {
		entries := sat(t, seat)
		change(&entries[0])
		chain(entries)
		_, err := Reveal(testPlan(ABX, 3), entries)
		if sound := name == "nothing" || name == "device withheld"; (err == nil) != sound {
			t.Errorf("%s changed: %v", name, err)
		}
	}
}

// The commitment follows its description, computed here without the package.
func TestCommitmentWithASeat(t *testing.T) {
	sum := func(text string) string { s := sha256.Sum256([]byte(text)); return string(s[:]) }
	seat := NewSeat("study", "L1", "default")
	device := hex.EncodeToString([]byte(sum(seat.Salt + "default")))
	covered := sum(fmt.Sprintf(`{"study":"study","listener":"L1","device_sha256":%q}`, device))
	hash := testPlan(ABX, 3).Hash()
	want := sum(string(append([]byte{5}, make([]byte, 31)...)) + string(hash[:]) + covered + "s1")
	if got := sat(t, seat)[0].Note; got != hex.EncodeToString([]byte(want)) {
		t.Errorf("got %s", got)
	}
	old := sum(string(append([]byte{5}, make([]byte, 31)...)) + string(hash[:]) + "s1")
	if got := sat(t, Seat{})[0].Note; got != hex.EncodeToString([]byte(old)) {
		t.Errorf("without a seat, as before: got %s", got)
	}
}
