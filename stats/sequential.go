package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Looks is a plan with interim looks: after Trials[i] trials in all, stop and say 'heard' at Heard[i] correct or more,
// stop and say 'ruled out' at RuledOut[i] or fewer (−1: never). Boundary names where the counts come from, "" unsaid.
type Looks struct {
	Boundary string `json:"boundary,omitempty"`
	Trials   []int  `json:"trials"`
	Heard    []int  `json:"heard_at"`
	RuledOut []int  `json:"ruled_out_at"`
}

// Most returns the trials of the last look, 0 where there is none.
func (l Looks) Most() int {
	if len(l.Trials) == 0 {
		return 0
	}
	return l.Trials[len(l.Trials)-1]
}

// MaxLookTrials is the largest number of trials of a plan with looks.
const MaxLookTrials = 20_000

func checkLookTrials(at []int) error {
	last := 0
	for i, n := range at {
		if n <= last || n > MaxLookTrials {
			return fmt.Errorf("stats: look %d after %d trials: looks come in rising order, from 1 to %d trials", i+1, n, MaxLookTrials)
		}
		last = n
	}
	if last == 0 {
		return errors.New("stats: a sequential plan without a look")
	}
	return nil
}

// Course is what a plan with looks does at one true p, exactly.
type Course struct {
	P        float64 `json:"p_true"`
	Heard    float64 `json:"heard"`
	RuledOut float64 `json:"ruled_out"`
	Open     float64 `json:"undecided"`
	Expected float64 `json:"expected_trials"`
}

// LookChance is what happens at one look: the chances that a session gets there and stops, and that it goes on.
type LookChance struct {
	Trials   int     `json:"trials"`
	Heard    float64 `json:"heard"`
	RuledOut float64 `json:"ruled_out"`
	Open     float64 `json:"going_on"`
}

// Distribution returns, look by look, the exact chances of stopping at true p, by carrying the distribution of k from
// trial to trial and taking out what stops. Where one count says both, 'heard' stands. Its cost is the largest number
// of trials times the breadth of counts that still go on.
func (l Looks) Distribution(p float64) []LookChance {
	alive, n := running{chance: []float64{1}}, 0
	all := make([]LookChance, len(l.Trials))
	for i, until := range l.Trials {
		for ; n < until; n++ {
			alive.step(p)
		}
		all[i] = alive.stop(l.RuledOut[i], l.Heard[i])
		all[i].Trials = n
	}
	return all
}

// Course returns the exact operating characteristics at true p: the sum of Distribution.
func (l Looks) Course(p float64) Course {
	c := Course{P: p, Open: 1}
	last := 0
	for _, at := range l.Distribution(p) {
		c.Heard += at.Heard
		c.RuledOut += at.RuledOut
		c.Expected += (at.Heard + at.RuledOut) * float64(at.Trials)
		c.Open, last = at.Open, at.Trials
	}
	c.Expected += c.Open * float64(last)
	return c
}

// LnP returns ln of the exact p of a session that stopped at 'heard' with k of n right: the chance at p that a session stops
// there at an earlier look, or at this one with as many right or more. It is 0 where there is no look after n trials, or
// none that says 'heard' of k.
func (l Looks) LnP(k, n int, p float64) float64 {
	for i, at := range l.Trials {
		if at != n || k < l.Heard[i] {
			continue
		}
		upTo := Looks{Trials: l.Trials[:i+1], Heard: slices.Clone(l.Heard[:i+1]), RuledOut: l.RuledOut[:i+1]}
		upTo.Heard[i] = k
		return math.Log(upTo.Course(p).Heard)
	}
	return 0
}

// running holds the sessions that go on: chance[i] is that of one with from + i right answers.
type running struct {
	from   int
	chance []float64
}

// step adds a trial at p. Ends below 1e-300 are dropped: they cannot show in any sum.
func (r *running) step(p float64) {
	if len(r.chance) == 0 {
		return
	}
	next := append(r.chance, 0)
	for k := len(next) - 1; k > 0; k-- {
		next[k] = next[k]*(1-p) + next[k-1]*p
	}
	next[0] *= 1 - p
	lo, hi := 0, len(next)
	for lo < hi && next[lo] < 1e-300 {
		lo++
	}
	for hi > lo && next[hi-1] < 1e-300 {
		hi--
	}
	r.from, r.chance = r.from+lo, next[lo:hi]
}

// stop takes out the counts from heard up, and those up to ruledOut.
func (r *running) stop(ruledOut, heard int) LookChance {
	hi := min(max(heard-r.from, 0), len(r.chance))
	lo := min(max(ruledOut+1-r.from, 0), hi)
	var c LookChance
	for k, v := range r.chance {
		switch {
		case k >= hi:
			c.Heard += v
		case k < lo:
			c.RuledOut += v
		default:
			c.Open += v
		}
	}
	r.from, r.chance = r.from+lo, r.chance[lo:hi]
	return c
}

// Peeking returns the exact probability that somebody who looks at the one-sided p after every trial, and stops at the
// first p ≤ α, calls a coin at p₀ 'heard' within n trials.
func Peeking(n int, p0, alpha float64) float64 {
	l := everyTrial(n)
	for i := range n {
		l.Heard[i] = criticalOrNever(i+1, p0, alpha)
	}
	return l.Course(p0).Heard
}

func everyTrial(n int) Looks {
	at := make([]int, n)
	for i := range n {
		at[i] = i + 1
	}
	return never(at)
}

// never returns looks that stop nothing.
func never(at []int) Looks {
	l := Looks{Trials: slices.Clone(at), Heard: make([]int, len(at)), RuledOut: make([]int, len(at))}
	for i, n := range at {
		l.Heard[i], l.RuledOut[i] = n+1, -1
	}
	return l
}

// criticalOrNever returns the critical count, or n + 1 where none exists.
func criticalOrNever(n int, p0, alpha float64) int {
	if k, _, ok := CriticalCount(n, p0, alpha); ok {
		return k
	}
	return n + 1
}

// EvidenceLooks looks after the given numbers of trials, in rising order: 'heard' once the e-value reaches 1/α, 'ruled
// out' once the matching e-value against p_d ≥ pd reaches 1/risk (pd 0: never). chance is a guesser's. The errors have
// probability at most α and risk, however often it looks. Where a count says both, 'heard' stands.
func EvidenceLooks(at []int, chance, pd, alpha, risk float64) (Looks, error) {
	if err := errors.Join(checkFraction("chance", chance), checkFraction("alpha", alpha), checkFraction("risk", risk)); err != nil {
		return Looks{}, err
	}
	if err := checkLookTrials(at); err != nil {
		return Looks{}, err
	}
	l := never(at)
	for i, n := range at {
		if k, ok := EvidenceCount(n, chance, alpha); ok {
			l.Heard[i] = k
		}
		if pd > 0 {
			l.RuledOut[i] = min(ruledOutCount(n, chance, FromDiscriminators(pd, chance), risk), l.Heard[i]-1)
		}
	}
	return l, nil
}

// ruledOutCount returns the largest k at which the likelihood ratio of p uniform on [chance, limit] against p = limit
// reaches 1/α, −1 if none. One trial's ratio has expectation 1 at p = limit and less above it, so the product is a
// supermartingale under every p ≥ limit, and Ville's inequality bounds the risk.
func ruledOutCount(n int, chance, limit, alpha float64) int {
	reached := func(k int) bool { return lnEvidenceBelow(k, n, chance, limit) >= -math.Log(alpha)-reachSlack }
	return lastWhere(0, n, reached)
}

// lnEvidenceBelow is ln of ∫ p^k·q^(n−k) dp over [chance, limit], divided by (limit − chance)·limit^k·(1 − limit)^(n−k).
func lnEvidenceBelow(k, n int, chance, limit float64) float64 {
	a, b := float64(k), float64(n-k)
	_, aboveChance := lnBetaTails(a+1, b+1, chance, 1-chance)
	_, aboveLimit := lnBetaTails(a+1, b+1, limit, 1-limit)
	if aboveChance <= aboveLimit {
		return math.Inf(-1)
	}
	mass := aboveChance + ln1mExp(aboveLimit-aboveChance)
	return mass - math.Log(float64(n)+1) - lnBinomial(a, b, limit, 1-limit) - math.Log(limit-chance)
}
