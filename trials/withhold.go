package trials

import (
	"math"
	"time"
)

// Withheld stands for a reason or a remark that was left out. It is not empty: a void trial is told by its reason.
const Withheld = "withheld"

// Withhold returns the entries of a session without what could tell who listened, or when: free text becomes Withheld,
// times become the day (UTC), and seconds whole ones. Order, answers, confidence, commitment and seed stay, so that
// Reveal comes to the same result. The entries are chained anew, since their old hashes cover what is gone: what the
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
		e.At, e.Seconds = e.At.UTC().Truncate(24*time.Hour), math.Round(e.Seconds)
		e.Previous = previous
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
