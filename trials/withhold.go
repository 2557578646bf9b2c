package trials

import (
	"math"
	"time"
)

// Withheld replaces a reason or a remark that was removed. It is not empty, because a void trial is recognised by its reason.
const Withheld = "withheld"

// Withhold returns the entries of a session without what could identify the listener or the time: free text becomes Withheld,
// times become the day (UTC), the seconds and the sample clock of a trial whole seconds, and the device is removed. Order,
// answers, confidence, commitment and seed stay, so that Reveal gives the same result except for the device's name. The
// entries get new hashes, because the old ones cover what was removed: the chain then proves that nothing changed since,
// and a hash of the session written down at its end no longer matches. Withhold is idempotent.
func Withhold(entries []Entry) []Entry {
	out := make([]Entry, len(entries))
	previous := ""
	for i, e := range entries {
		switch e.Kind {
		case EntryBegin, EntryEnd: // commitment and seed, no free text
		default:
			if e.Note != "" {
				e.Note = Withheld
			}
		}
		if e.Device != "" {
			e.Device = Withheld
		}
		e.At, e.Seconds = e.At.UTC().Truncate(24*time.Hour), math.Round(e.Seconds)
		if e.RateHz > 0 { // Heard stays: whether an answer was hurried follows from it
			e.Frames = int64(math.Round(float64(e.Frames)/float64(e.RateHz))) * int64(e.RateHz)
		}
		e.Previous, e.Seat = previous, e.Seat.withheld()
		e.Hash = e.Digest()
		previous, out[i] = e.Hash, e
	}
	return out
}

// SameRecord reports whether two records are the same, or one is the other after Withhold. Two complete records that differ
// only in a remark are not the same.
func SameRecord(a, b []Entry) bool {
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	last := len(a) - 1
	return a[last].Hash == b[last].Hash || Withhold(a)[last].Hash == b[last].Hash || a[last].Hash == Withhold(b)[last].Hash
}
