package trials

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// MaxEntries is the largest number of entries of one session: answers, void trials, flags and rests (judgement, no source;
// no figure depends on it).
const MaxEntries = 10 * MaxTrials

// Limits of what an entry can contain. All but the confidence scale are judgement, no source; TestNonsenseIsRefusedThoughSigned
// holds them.
const (
	MaxConfidence = 4               // sure; 1 is a guess
	maxSwitches   = 1_000_000       // key presses in one trial
	maxSeconds    = 366 * 24 * 3600 // of one trial, in which a session may have been interrupted
	maxLabels     = 8
	maxNote       = 4 * MaxText // in bytes: UTF-8 has at most four for a character
)

// Plausible returns an error that names the first field of e that cannot be the result of a session. It looks at the entry
// alone: a correctly sealed chain of such entries may still be nonsense. until is the latest time at which it can have
// been written; the earliest is 1970, where clocks start that were never set.
func (e Entry) Plausible(until time.Time) error {
	switch {
	case e.Confidence < 0 || e.Confidence > MaxConfidence:
		return fmt.Errorf("entry %d: confidence %d, 0 to %d can be given", e.Number, e.Confidence, MaxConfidence)
	case math.IsNaN(e.Seconds) || e.Seconds < 0 || e.Seconds > maxSeconds:
		return fmt.Errorf("entry %d: an answer after %g seconds", e.Number, e.Seconds)
	case e.Switches < 0 || e.Switches > maxSwitches:
		return fmt.Errorf("entry %d: %d key presses", e.Number, e.Switches)
	case e.Trial < 0 || e.Trial > MaxEntries:
		return fmt.Errorf("entry %d: trial %d", e.Number, e.Trial)
	case len(e.Note) > maxNote:
		return fmt.Errorf("entry %d: a note of %d bytes, at most %d are accepted", e.Number, len(e.Note), maxNote)
	case len(e.Heard) > maxLabels || e.Frames < 0 || e.RateHz < 0 || slices.ContainsFunc(e.Heard, func(n int64) bool { return n < 0 || n > e.Frames }):
		return fmt.Errorf("entry %d: heard for %d of %d frames at %d Hz", e.Number, e.Heard, e.Frames, e.RateHz)
	case CheckText("device", e.Device) != nil:
		return fmt.Errorf("entry %d: %w", e.Number, CheckText("device", e.Device))
	case e.Seat != nil && e.Kind != EntryBegin:
		return fmt.Errorf("entry %d: a seat, which only the first entry has", e.Number)
	case e.Seat.implausible() != nil:
		return fmt.Errorf("entry %d: %w", e.Number, e.Seat.implausible())
	case e.At.Before(time.Unix(0, 0)) || e.At.After(until):
		return fmt.Errorf("entry %d: the date %s is impossible", e.Number, e.At.UTC().Format(time.DateOnly))
	}
	return nil
}
