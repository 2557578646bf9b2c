package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Looks is a plan with interim looks: after Trials[i] trials in all, stop with 'heard' at Heard[i] correct or more, stop
// with 'ruled out' at RuledOut[i] or fewer (−1: never). Boundary names the rule that gave the counts; "": none named.
type Looks struct {
	Boundary string `json:"boundary,omitempty"`
	Trials   []int  `json:"trials"`
	Heard    []int  `json:"heard_at"`
	RuledOut []int  `json:"ruled_out_at"`
}

// MaxTrials returns the number of trials at the last look, 0 where there is none.
func (l Looks) MaxTrials() int {
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

// Course holds the exact operating characteristics of a plan with looks at one true p.
type Course struct {
	P        float64 `json:"p_true"`
	Heard    float64 `json:"heard"`
	RuledOut float64 `json:"ruled_out"`
	Open     float64 `json:"undecided"`
	Expected float64 `json:"expected_trials"`
}

// LookChance holds the probabilities that a session reaches one look and stops there, or goes on.
type LookChance struct {
	Trials   int     `json:"trials"`
	Heard    float64 `json:"heard"`
	RuledOut float64 `json:"ruled_out"`
	Open     float64 `json:"going_on"`
}

// Distribution returns, look by look, the exact probabilities of stopping at true p, by carrying the distribution of k
// from trial to trial and removing what stops. Where a count meets both boundaries, the verdict is 'heard'. The cost is
// the largest number of trials times the number of counts that go on.
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

// LnP returns ln of the exact p of a session that stopped with 'heard' at k of n right: the probability at p that a session
// stops with 'heard' at an earlier look, or at this one with at least k right. It is 0 where there is no look after n
// trials, or k is not 'heard' there.
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

// running holds the sessions that go on: chance[i] is the probability of from + i right answers.
type running struct {
	from   int
	chance []float64
}

// negligible is a probability below which ends are dropped: it cannot affect any sum.
const negligible = 1e-300

// step adds a trial at p, and drops negligible ends.
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
	for lo < hi && next[lo] < negligible {
		lo++
	}
	for hi > lo && next[hi-1] < negligible {
		hi--
	}
	r.from, r.chance = r.from+lo, next[lo:hi]
}

// stop removes the counts from heard up, and those up to ruledOut.
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

// never returns looks at which no session stops.
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

// EvidenceLooks returns looks after the given numbers of trials, in rising order: 'heard' once the e-value reaches 1/α,
// 'ruled out' once the matching e-value against p_d ≥ pd reaches 1/risk (pd 0: never). chance is the guessing rate. The
// errors have probability at most α and risk, however many looks there are. Where a count meets both, the verdict is
// 'heard'.
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
