package stats

import "fmt"

// heldLooks is the number of further trials over which a plan with looks must keep its power: counts are whole numbers, so
// that the power of a boundary at few looks is a sawtooth in the number of trials.
const heldLooks = 10

// SmallestLooks returns the plan with the fewest trials for which reaches holds, at that number of trials and at each of
// the next 10. plan makes the looks of a plan of at most n trials, or an error where there are none; reaches must hold for
// large n if it does for some. The search starts between a plan that reaches and one, at most a fifth smaller, that does
// not. It returns ErrOutOfReach where MaxLookTrials trials do not suffice.
func SmallestLooks(plan func(n int) (Looks, error), reaches func(Looks) bool) (Looks, error) {
	var made error
	try := func(n int) (Looks, bool) {
		l, err := plan(min(n, MaxLookTrials))
		made = err
		return l, err == nil && reaches(l)
	}
	low, high := 0, 4
	for {
		if _, ok := try(high); ok {
			break
		}
		if high >= MaxLookTrials {
			if made != nil {
				return Looks{}, made
			}
			return Looks{}, fmt.Errorf("%w: no plan of up to %d trials suffices", ErrOutOfReach, MaxLookTrials)
		}
		low, high = high, min(high+high/5+1, MaxLookTrials)
	}
	n := firstCount(low+1, high-1, func(n int) bool { _, ok := try(n); return ok })
	return keptLooks(n, try)
}

// keptLooks returns the first plan from n trials on that reaches the requirement and keeps it.
func keptLooks(n int, try func(int) (Looks, bool)) (Looks, error) {
	var found Looks
	for held := 0; n <= MaxLookTrials; n++ {
		l, ok := try(n)
		if !ok {
			held = 0
			continue
		}
		if held == 0 {
			found = l
		}
		if held++; held > heldLooks || n == MaxLookTrials {
			return found, nil
		}
	}
	return Looks{}, fmt.Errorf("%w: no plan of up to %d trials suffices", ErrOutOfReach, MaxLookTrials)
}
