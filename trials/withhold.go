package trials

import (
	"math"
	"time"
)

// Withheld stands for a reason or a remark that was left out. It is not empty: a void trial is told by its reason.
const Withheld = "withheld"

// Withhold returns the entries of a session without what could tell who listened, or when: free text becomes Withheld,
// times become the day (UTC), seconds and the sample clock of a trial whole seconds, and the device goes. Order, answers, confidence,
// commitment and seed stay, so that Reveal comes to the same result but for the device's name. The entries are chained anew, since their old hashes cover what is gone: what the
// chain then proves is that nothing changed since, and a hash of the session written down at its end no longer matches.
// Withholding twice is withholding once.
func Withhold(entries []Entry) []Entry {
	out := make([]Entry, len(entries))
	previous := ""
	for i, e := range entries {
		switch e.Kind {
		case EntryBegin, EntryEnd: // commitment and seed: no words of anybody
		default:
			if e.Note != "" {
				e.Note = Withheld
			}
		}
		if e.Device != "" {
			e.Device = Withheld
		}
		e.At, e.Seconds = e.At.UTC().Truncate(24*time.Hour), math.Round(e.Seconds)
		if e.RateHz > 0 { // for how long labels sounded stays: whether an answer was hurried follows from it
			e.Frames = int64(math.Round(float64(e.Frames)/float64(e.RateHz))) * int64(e.RateHz)
		}
		e.Previous, e.Seat = previous, e.Seat.withheld()
		e.Hash = e.Digest()
		previous, out[i] = e.Hash, e
	}
	return out
}

// SameRecord reports whether two records are the same, or one is what Withhold leaves of the other. Two whole records
// that differ in a remark alone are not.
func SameRecord(a, b []Entry) bool {
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	last := len(a) - 1
	return a[last].Hash == b[last].Hash || Withhold(a)[last].Hash == b[last].Hash || a[last].Hash == Withhold(b)[last].Hash
}
