package link

import (
	"heardiff/stats/warning"
	"heardiff/trials"
)

// Mark records a doubt about the blindness of a session, for example that its order was revealed elsewhere.
type Mark struct {
	Code trials.Mark `json:"code"`
	Says string      `json:"says"`
	// Voids says that the answers may have been given by somebody who knew the order.
	Voids bool `json:"voids"`
}

// ofPeople reports whether any of the sessions was answered by a person, through a device that sounds.
func ofPeople(results []Heard) bool {
	for _, h := range results {
		if h.ofPeople() {
			return true
		}
	}
	return false
}

func (h Heard) ofPeople() bool { return !h.Simulated && !h.Silent }

// leftOut warns of the sessions that are shown but not included in the sums.
func leftOut(results []Heard) []warning.Warning {
	if !ofPeople(results) {
		return nil
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
		return nil
	}
	return []warning.Warning{warning.Newf(PeopleAlone, "results for all listeners and for groups include only people; in rows of their own: %s, and %s answered, in part or in full, where no device sounded",
		trials.Counted(computed, "simulated session"), trials.Counted(silent, "session")).Of(float64(computed+silent), "sessions")}
}

// WordOf is the word that marks results that say nothing about people: "simulated" where a computation answered, "no sound"
// where at least a part was answered while no device sounded; "" elsewhere.
func WordOf(simulated, silent bool) string {
	switch {
	case simulated:
		return "simulated"
	case silent:
		return "no sound"
	}
	return ""
}
