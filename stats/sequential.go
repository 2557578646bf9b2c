package stats

import (
	"fmt"
	"math"
)

// Looks is a plan with interim looks: after Trials[i] trials in all, stop and say 'heard' at Heard[i] correct or more,
// stop and say 'ruled out' at RuledOut[i] or fewer (−1: never).
type Looks struct {
	Trials   []int `json:"trials"`
	Heard    []int `json:"heard_at"`
	RuledOut []int `json:"ruled_out_at"`
}

// Course is what a plan with looks does at one true p, exactly.
type Course struct {
	P        float64 `json:"p_true"`
	Heard    float64 `json:"heard"`
	RuledOut float64 `json:"ruled_out"`
	Open     float64 `json:"undecided"`
	Expected float64 `json:"expected_trials"`
}

// Course returns the exact operating characteristics at true p, by carrying the distribution of k from trial to trial
// and taking out what stops. Its cost is the square of the largest number of trials.
func (l Looks) Course(p float64) Course {
	c := Course{P: p}
	alive, n := []float64{1}, 0
	for i, until := range l.Trials {
		for ; n < until; n++ {
			alive = oneMoreTrial(alive, p)
		}
		for k := range alive {
			switch {
			case k >= l.Heard[i]:
				c.Heard += alive[k]
			case k <= l.RuledOut[i]:
				c.RuledOut += alive[k]
			default:
				continue
			}
			c.Expected += alive[k] * float64(n)
			alive[k] = 0
		}
	}
	for _, a := range alive {
		c.Open += a
	}
	c.Expected += c.Open * float64(n)
	return c
}

// oneMoreTrial returns the distribution of the count after one more trial at p.
func oneMoreTrial(alive []float64, p float64) []float64 {
	next := append(alive, 0)
	for k := len(next) - 1; k > 0; k-- {
		next[k] = next[k]*(1-p) + next[k-1]*p
	}
	next[0] *= 1 - p
	return next
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
	l := Looks{Trials: make([]int, n), Heard: make([]int, n), RuledOut: make([]int, n)}
	for i := range n {
		l.Trials[i], l.RuledOut[i] = i+1, -1
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

// EvidencePlan looks after every one of n trials: 'heard' once the e-value reaches 1/α, 'ruled out' once the matching
// e-value against p_d ≥ pd reaches it. Either error has probability at most α, however long it runs.
func EvidencePlan(n int, pd, alpha float64) (Looks, error) {
	if err := checkFraction("alpha", alpha); err != nil {
		return Looks{}, err
	}
	if n < 1 || n > 20_000 {
		return Looks{}, fmt.Errorf("stats: %d trials: a sequential plan has 1 to 20000", n)
	}
	l := everyTrial(n)
	for i := range n {
		l.Heard[i] = i + 2
		if k, ok := EvidenceCount(i+1, alpha); ok {
			l.Heard[i] = k
		}
		if pd > 0 {
			l.RuledOut[i] = ruledOutCount(i+1, (1+pd)/2, alpha)
		}
	}
	return l, nil
}

// ruledOutCount returns the largest k at which the likelihood ratio of p uniform on [1/2, limit] against p = limit
// reaches 1/α, −1 if none. One trial's ratio has expectation 1 at p = limit and less above it, so the product is a
// supermartingale under every p ≥ limit, and Ville's inequality bounds the risk.
func ruledOutCount(n int, limit, alpha float64) int {
	reached := func(k int) bool { return lnEvidenceBelow(k, n, limit) >= -math.Log(alpha)-reachSlack }
	return lastWhere(0, n, reached)
}

// lnEvidenceBelow is ln of ∫ p^k·q^(n−k) dp over [1/2, limit], divided by (limit − 1/2)·limit^k·(1 − limit)^(n−k).
func lnEvidenceBelow(k, n int, limit float64) float64 {
	a, b := float64(k), float64(n-k)
	_, aboveHalf := lnBetaTails(a+1, b+1, 0.5, 0.5)
	_, aboveLimit := lnBetaTails(a+1, b+1, limit, 1-limit)
	if aboveHalf <= aboveLimit {
		return math.Inf(-1)
	}
	mass := aboveHalf + ln1mExp(aboveLimit-aboveHalf)
	return mass - math.Log(float64(n)+1) - lnBinomial(a, b, limit, 1-limit) - math.Log(limit-0.5)
}
