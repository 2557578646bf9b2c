package link

import (
	"fmt"

	"heardiff/trials"
)

// Mark is something known against the blindness of a session: that its order was opened elsewhere, say.
type Mark struct {
	Code trials.Mark `json:"code"`
	Says string      `json:"says"`
	// Voids says that its answers may have been given by somebody who knew the order.
	Voids bool `json:"voids"`
}

// ofPeople reports whether any of the sessions speaks of people: answered by a person, through a device that sounds.
func ofPeople(results []Heard) bool {
	for _, h := range results {
		if h.ofPeople() {
			return true
		}
	}
	return false
}

func (h Heard) ofPeople() bool { return !h.Simulated && !h.Silent }

// counts reports whether a session is added up with others. Where some speak of people, those that do not are shown each
// in a row of its own and counted with none.
func (h Heard) counts(people bool) bool { return h.ofPeople() || !people }

// leftOut says how many sessions are shown but not counted, or "".
func leftOut(results []Heard) string {
	if !ofPeople(results) {
		return ""
	}
	computed, silent := 0, 0
	for _, h := range results {
		switch {
		case h.Simulated:
			computed++
		case h.Silent:
			silent++
		}
	}
	if computed+silent == 0 {
		return ""
	}
	return fmt.Sprintf("what is said of all listeners and of groups is of people alone: %d simulated sessions and %d of which a part or all was answered where no device sounded stand in rows of their own", computed, silent)
}

// WordOf is the word that belongs behind what says nothing of people: "simulated" where a computation answered, "no sound"
// where a part or all was answered while no device sounded; "" elsewhere.
func WordOf(simulated, silent bool) string {
	switch {
	case simulated:
		return "simulated"
	case silent:
		return "no sound"
	}
	return ""
}
